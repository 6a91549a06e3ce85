// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Opening writes down what was seen inside an opened loop.
type Opening struct {
	Doing
	loops.Opening
}

func openingAct() Definition {
	return define(Definition{
		Name: "open", Done: "Opened", Kind: loops.KindOpening,
		Short: "Open the loop and write down what is inside",
		Long: `An opening ends the life of the charge where its cause lies in the loop. What the
loop is made of and what was in it are on its own record.

Residues: ` + Listed(loops.ResidueKinds()) + `.
Places: ` + Listed(loops.Places()) + `.`,
		Examples: []string{`7K3QXW --cause pump --severity film --residue "bright flakes@pump"`},
	}, fields[Opening]{
		one(Field{Name: "cause", Label: "cause", Help: "cause of the failure", Needed: true}, choice("CAUSE", loops.Causes()), func(a *Opening) *loops.Cause { return &a.Cause }),
		one(Field{Name: "failed-on", Also: []string{"failed on"}, Label: "failed in service on", Help: "the day it failed in service, where that is known"}, day(), func(a *Opening) *loops.Day { return &a.FailedOn }),
		may(Field{Name: "severity", Label: "narrowest passage", Help: "how badly the narrowest passage is affected"}, severity(), func(a *Opening) **loops.Severity { return &a.Severity }),
		one(Field{Name: "colour", Label: "liquid", Help: "colour of the liquid"}, choice("COLOUR", loops.Colours()), func(a *Opening) *loops.Colour { return &a.Colour }),
		one(Field{Name: "clarity", Label: "", Help: "how clear it is"}, choice("CLARITY", loops.Clarities()), func(a *Opening) *loops.Clarity { return &a.Clarity }),
		one(Field{Name: "smell", Label: "smell", Help: "what it smells of"}, choice("SMELL", loops.Smells()), func(a *Opening) *loops.Smell { return &a.Smell }),
		many(Field{Name: "residue", Also: []string{"place"}, Label: "residue", Help: "what sat in it, and where behind @; repeat", Example: `"white gel or powder@cold plate fins"`}, residue(), func(a *Opening) *[]loops.Residue { return &a.Residues }),
		one(Field{Name: "words", Label: "", Help: "for what no fixed word fits"}, lines(), func(a *Opening) *string { return &a.Words }),
		may(Field{Name: "hour-meter", Also: []string{"running hours"}, Label: "hour meter", Help: "hour meter, where there is one", Example: "8120h"}, plain("HOURS", "h"), func(a *Opening) **float64 { return &a.RunningHours }),
		many(Field{Name: "photo", Label: "photos", Help: "a photo, with @before or @after, +white where something white stands in view; repeat"}, openingPhoto(), func(a *Opening) *[]loops.OpeningPhoto { return &a.Photos }),
	}, func(e loops.Entry) Opening { return Opening{Opening: *e.Opening} })
}

func severity() kind[loops.Severity] {
	k := kind[loops.Severity]{word: "STEP", typ: Text, parse: loops.ParseSeverity, print: loops.Severity.String, show: loops.Severity.String}
	for _, s := range loops.Severities() {
		k.choices = append(k.choices, s.String())
	}
	return k
}

func residue() kind[loops.Residue] {
	print := func(r loops.Residue) string {
		if r.Place == "" {
			return string(r.Kind)
		}
		return string(r.Kind) + "@" + string(r.Place)
	}
	return kind[loops.Residue]{word: "KIND@PLACE", typ: Text, parse: loops.ParseResidue, print: print, show: loops.Residue.String}
}

// openingPhoto reads HASH, HASH@after or HASH@before+white.
func openingPhoto() kind[loops.OpeningPhoto] {
	const white = "+white"
	return kind[loops.OpeningPhoto]{
		word: "PHOTO", typ: Text,
		parse: func(text string) (loops.OpeningPhoto, error) {
			rest, isWhite := strings.CutSuffix(strings.TrimSpace(text), white)
			hash, when, said := strings.Cut(rest, "@")
			p := loops.OpeningPhoto{Hash: hash, When: loops.PhotoMoment(when), White: isWhite}
			if !said {
				p.When = loops.BeforeWork
			}
			if p.When != loops.BeforeWork && p.When != loops.AfterWork {
				return p, wrong("", text, "@before or @after behind the photo")
			}
			return p, nil
		},
		print: func(p loops.OpeningPhoto) string {
			text := p.Hash + "@" + string(p.When)
			if p.White {
				text += white
			}
			return text
		},
		show: func(p loops.OpeningPhoto) string { return p.Hash[:min(8, len(p.Hash))] + " " + string(p.When) },
	}
}

// Check refuses an opening that contradicts the loop's history: before a first
// fill that is on record, that failed before it was filled, or was measured good
// after it had failed.
func (a *Opening) Check(s Snapshot, today loops.Day) error {
	on := a.on(today)
	life := s.lifeOn(on)
	if life.Charge == nil {
		for _, e := range loops.Standing(s.History) {
			if e.Kind == loops.KindFill {
				return wrong("day", on.String(), "not before the loop was filled, "+e.Day.String())
			}
		}
		return nil // it came in with a liquid of which nobody knows
	}
	if a.Cause == loops.CauseNone || !a.Cause.InLoop() {
		return nil
	}
	failed, field := on, "day"
	if !a.FailedOn.IsZero() {
		failed, field = a.FailedOn, "failed-on"
		if failed.After(on) {
			return wrong(field, failed.String(), "not after the opening, "+on.String())
		}
	}
	if from := life.Charge.FilledFrom; failed.Before(from) {
		return wrong(field, failed.String(), "not before the fill, "+from.String())
	}
	if life.LastKnownGood.After(failed) {
		return wrong(field, failed.String(), "not before the day on which this charge was last measured good, "+life.LastKnownGood.String())
	}
	return nil
}

// lifeOn is the state of the charge whose life the loop is in on a day. A drain
// ends no life: what a drained loop is found to be when it is opened was so
// before.
func (s Snapshot) lifeOn(day loops.Day) loops.State {
	var history []loops.Entry
	for _, e := range loops.Standing(s.History) {
		begins := e.Kind == loops.KindFill || e.Kind == loops.KindSwap
		if e.Kind == loops.KindDrain || begins && e.Day.After(day) {
			continue
		}
		history = append(history, e)
	}
	return loops.Fold(history)
}

// Judge asks whether the owner agreed to it, and minds the hour meter.
func (a *Opening) Judge(s Snapshot, today loops.Day) []Reason {
	reasons := s.meter(s.On(a.on(today)), a.RunningHours)
	if s.Owner.ID == 0 || s.Owner.Consent.Opening {
		return reasons
	}
	return append(reasons, Reason{
		Rule: "opening-consent", Verdict: chemistry.Stop, Overrulable: true, Text: "the owner has not agreed to the loop being opened.", Source: sourceRecord, Grade: chemistry.Computed,
		Way: "Ask, and record the consent with the owner.",
	})
}

// Apply writes it down.
func (a *Opening) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindOpening, Opening: &a.Opening}, today)
}
