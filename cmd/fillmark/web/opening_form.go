// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"

	"fillmark/loops"
)

// tile is one drawing to choose.
type tile struct {
	Value string
	Means string // how to tell it
	On    bool
}

// keptPhoto is a photo that is kept already and goes with the opening.
type keptPhoto struct {
	Value string // as the hidden field says it: before:HASH
	loops.OpeningPhoto
	Already bool // the same photo was kept before
}

// openingForm is what was typed and chosen, and what is wrong with it.
type openingForm struct {
	Tag, Day, FailedOn, Words, Hours, Place, Smell string
	White                                          bool
	chosen                                         map[string][]string
	Kept                                           []keptPhoto
	problems                                       []Problem
}

// Causes, Severities, Residues, Colours and Clarities are what is chosen from.
func (f *openingForm) Causes() []tile { return tilesOf(f.chosen["cause"], loops.Causes(), nil) }

// Severities lists the five steps.
func (f *openingForm) Severities() []tile {
	var tiles []tile
	for _, s := range loops.Severities() {
		tiles = append(tiles, tile{s.String(), s.Means(), slices.Contains(f.chosen["severity"], s.String())})
	}
	return tiles
}

// Residues lists the kinds of residue; several may be chosen.
func (f *openingForm) Residues() []tile {
	return tilesOf(f.chosen["residue"], loops.ResidueKinds(), nil)
}

// Colours lists the colours of the liquid.
func (f *openingForm) Colours() []tile { return tilesOf(f.chosen["colour"], loops.Colours(), nil) }

// Clarities lists the steps of clarity.
func (f *openingForm) Clarities() []tile {
	return tilesOf(f.chosen["clarity"], loops.Clarities(), loops.Clarity.Means)
}

// Places lists where residue can have sat.
func (f *openingForm) Places() []tile { return tilesOf([]string{f.Place}, loops.Places(), nil) }

// Smells lists what the liquid can smell of.
func (f *openingForm) Smells() []tile { return tilesOf([]string{f.Smell}, loops.Smells(), nil) }

func tilesOf[T ~string](chosen []string, all []T, means func(T) string) []tile {
	var tiles []tile
	for _, v := range all {
		t := tile{Value: string(v), On: slices.Contains(chosen, string(v))}
		if means != nil {
			t.Means = means(v)
		}
		tiles = append(tiles, t)
	}
	return tiles
}

// Problem says what would be right in a field; empty where nothing is wrong.
func (f *openingForm) Problem(field string) string {
	for _, p := range f.problems {
		if p.Field == field {
			return p.Right
		}
	}
	return ""
}

// Rest lists the problems of fields that the form does not show one by one.
func (f *openingForm) Rest() []Problem {
	shown := []string{"tag", "day", "cause", "severity", "residue", "place", "colour", "clarity", "failed on", "photo", "words", "running hours"}
	return slices.DeleteFunc(slices.Clone(f.problems), func(p Problem) bool { return slices.Contains(shown, p.Field) })
}

// Wrong tells that something is.
func (f *openingForm) Wrong() bool { return len(f.problems) > 0 }

// take notes what an error says is wrong; it gives back one that is about no
// field.
func (f *openingForm) take(err error) error {
	problems := problemsOf(err)
	if err != nil && len(problems) == 0 {
		if errors.Is(err, loops.ErrNotFound) {
			problems = []Problem{{Field: "tag", Value: f.Tag, Right: "the tag of a loop on record"}}
		} else {
			return err
		}
	}
	f.problems = append(f.problems, problems...)
	return nil
}

// readOpeningForm reads the form part by part; a photo is taken in as it
// comes, so that no two are in memory at once.
func (s *server) readOpeningForm(r *http.Request) (*openingForm, error) {
	f := &openingForm{chosen: map[string][]string{}}
	err := readParts(r, maxFormPhotos, func(part *multipart.Part) error { return s.takePhoto(f, part) }, f.set)
	return f, err
}

func (s *server) takePhoto(f *openingForm, part *multipart.Part) error {
	when := loops.PhotoMoment(strings.TrimPrefix(part.FormName(), "photo "))
	kept, err := s.Workshop.KeepPhoto(part.FileName(), partOf{part})
	if err != nil {
		return f.take(err)
	}
	f.keep(when, kept.Hash, kept.Already)
	return nil
}

func (f *openingForm) keep(when loops.PhotoMoment, hash string, already bool) {
	for _, k := range f.Kept {
		if k.Hash == hash {
			return
		}
	}
	f.Kept = append(f.Kept, keptPhoto{string(when) + ":" + hash, loops.OpeningPhoto{Hash: hash, When: when}, already})
}

// set takes one field.
func (f *openingForm) set(name, value string) {
	texts := map[string]*string{
		"tag": &f.Tag, "day": &f.Day, "failed on": &f.FailedOn, "words": &f.Words, "hours": &f.Hours, "place": &f.Place, "smell": &f.Smell,
	}
	switch into, ok := texts[name]; {
	case ok:
		*into = value
	case name == "white":
		f.White = value != ""
	case name == "kept":
		if when, hash, ok := strings.Cut(value, ":"); ok {
			f.keep(loops.PhotoMoment(when), hash, true)
		}
	case value != "":
		f.chosen[name] = append(f.chosen[name], value)
	}
}

// first returns what was chosen of a field; empty where nothing was.
func (f *openingForm) first(name string) string {
	if len(f.chosen[name]) == 0 {
		return ""
	}
	return f.chosen[name][0]
}

// entry makes the entry that the form stands for.
func (f *openingForm) entry() (loops.Tag, loops.Entry) {
	o := loops.Opening{
		Cause: loops.Cause(f.first("cause")), Colour: loops.Colour(f.first("colour")), Clarity: loops.Clarity(f.first("clarity")),
		Smell: loops.Smell(f.Smell), Words: f.Words,
	}
	tag, err := loops.ParseTag(f.Tag)
	f.note("tag", err)
	e := loops.Entry{Kind: loops.KindOpening, Opening: &o}
	if f.Day != "" {
		e.Day, err = loops.ParseDay(f.Day)
		f.note("day", err)
	}
	if f.FailedOn != "" {
		o.FailedOn, err = loops.ParseDay(f.FailedOn)
		f.note("failed on", err)
	}
	if text := strings.TrimSpace(f.Hours); text != "" {
		hours, err := number(strings.TrimSpace(strings.TrimSuffix(text, "h")))
		if err != nil {
			f.problems = append(f.problems, Problem{Field: "running hours", Value: f.Hours, Right: "a figure in hours, such as 8120"})
		}
		o.RunningHours = &hours
	}
	if text := f.first("severity"); text != "" {
		severity, err := loops.ParseSeverity(text)
		f.note("severity", err)
		o.Severity = &severity
	}
	for _, kind := range f.chosen["residue"] {
		o.Residues = append(o.Residues, loops.Residue{Kind: loops.ResidueKind(kind), Place: loops.Place(f.Place)})
	}
	for _, k := range f.Kept {
		k.White = f.White
		o.Photos = append(o.Photos, k.OpeningPhoto)
	}
	return tag, e
}

// note takes a problem under the form's name of the field.
func (f *openingForm) note(field string, err error) {
	for _, p := range problemsOf(err) {
		p.Field = field
		f.problems = append(f.problems, p)
	}
}
