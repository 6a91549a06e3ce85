// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
)

// HandoverInput is all that the confirmation of a hand-over is written from.
type HandoverInput struct {
	Workshop  Workshop
	Owner     loops.Owner
	Day       loops.Day // the owner's day of the hand-over
	Date      time.Time // the instant, for the Date header
	MessageID string    // from [MessageIDFor]
	Machine   string    // as the owner calls it
	Kind      loops.MachineKind
	Loops     []HandoverLoop
	Cautions  []string // for what is in these loops, in owners' words
	Links     Links    // only Stop and OneClick are used
	Calendar  []byte   // text/calendar with METHOD:PUBLISH; empty for none
}

// HandoverLoop is one loop of the machine that went back.
type HandoverLoop struct {
	Name   string // tells the loops of one machine apart; empty where it has one
	Tag    loops.Tag
	Sealed bool
	Fluid  chemistry.Fluid
	Charge string // what is in it, with fraction and basis
	// Volume is how much of it; zero where nobody measured.
	Volume chemistry.Litre
	// Freeze is where the charge begins to freeze, with its k = 2 uncertainty;
	// nil where it is not known.
	Freeze            *chemistry.Celsius
	FreezeUncertainty chemistry.CelsiusDelta
	// Coldest is the coldest place the loop was filled for; nil where nobody said.
	Coldest *chemistry.Celsius
	Next    []NextTask
}

// NextTask is a task that will come due.
type NextTask struct {
	Task loops.TaskKind
	Due  loops.Day
	Why  string // in owners' words, a full sentence; may be empty
}

// because appends why the day is what it is.
func (n NextTask) because(text string) string {
	if n.Why == "" {
		return text
	}
	return text + ". " + strings.TrimRight(n.Why, ".") + "."
}

// ComposeHandover writes the letter an owner gets when a machine goes back:
// what is in it, how cold it may get, what comes next. All that is wrong with
// the input is returned joined, as [loops.InvalidError]s.
func ComposeHandover(in HandoverInput) (Letter, error) {
	if err := in.validate(); err != nil {
		return Letter{}, err
	}
	d := document{
		Subject:  fmt.Sprintf("%s: what is in it and what comes next", capitalised(shortened(in.Machine, 40))),
		Greeting: "Good day " + in.Owner.Name + ",",
		Intro: fmt.Sprintf("Your %s “%s” went back to you on %s. This is what we filled in and what comes next; we write to you in time before each of these days. Keep this mail.",
			machineWord(in.Kind), in.Machine, in.Day.Long()),
		Closing: in.Workshop.closing(),
		Reason:  "You get this mail because you agreed to mail when " + in.Workshop.Name + " gave your machine back.",
		Stop:    button{"Stop these mails", in.Links.Stop},
	}
	for _, l := range in.Loops {
		d.Blocks = append(d.Blocks, l.block(in))
	}
	worst := in.Loops[0].Fluid
	for _, l := range in.Loops {
		if poisonous(l.Fluid) {
			worst = l.Fluid
		}
	}
	d.addCare(ifWet(worst, in.Workshop.ReachUs()), in.Cautions)
	return d.letter(envelope{in.Workshop, in.Owner, in.Date, in.MessageID, in.Links.OneClick}, in.Calendar)
}

func (l HandoverLoop) block(in HandoverInput) block {
	name := in.Machine
	if l.Name != "" {
		name += ", " + l.Name
	}
	charge := l.Charge
	if l.Volume > 0 {
		charge += fmt.Sprintf(", about %.0f ml", l.Volume.Millilitres())
	}
	b := block{Heading: capitalised(name), Paragraphs: []string{inIt(charge, l.Sealed, l.Tag)}}
	if cold := l.cold(in.Owner.Units); cold != "" {
		b.Paragraphs = append(b.Paragraphs, cold)
	}
	if len(l.Next) > 0 {
		var days []string
		for _, n := range l.Next {
			w, _ := taskWords(n.Task)
			days = append(days, n.because(w.title+": "+when(n.Due, in.Day)))
		}
		b.Lists = append(b.Lists, list{"What comes next", false, days})
	}
	g := GuideFor(loops.Look, in.Kind, l.Sealed, l.Fluid, in.Workshop.ReachUs())
	b.Lists = append(b.Lists, list{"How to look it over", true, g.Steps}, list{"What to leave alone", false, g.Leave})
	return b
}

// cold says how much cold the charge bears; nothing where that is not known.
func (l HandoverLoop) cold(units loops.Units) string {
	var said []string
	if l.Freeze != nil {
		said = append(said, fmt.Sprintf("It begins to freeze at %s, give or take %s.", temperature(*l.Freeze, units), difference(l.FreezeUncertainty, units)))
	}
	if l.Coldest != nil {
		said = append(said, fmt.Sprintf("We filled it for places no colder than %s. Use, store and ship it no colder.",
			InOwnersUnits(oneDecimal(float64(*l.Coldest))+" °C", units)))
	}
	return strings.Join(said, " ")
}

func (in HandoverInput) validate() error {
	var p problems
	p.add(validateFrame(in.Workshop, in.Owner, in.Day, in.Date, in.MessageID, in.Links))
	p.add(requireText("machine", in.Machine, maxName))
	if len(in.Loops) == 0 || len(in.Loops) > maxItems {
		p.add(invalid("loops", fmt.Sprint(len(in.Loops)), fmt.Sprintf("1 to %d loops", maxItems)))
	}
	for n, l := range in.Loops {
		field := fmt.Sprintf("loop %d ", n+1)
		p.add(validateLoop(field, in.Machine, l.Tag, l.Fluid, l.Charge))
		p.add(checkText(field+"name", l.Name, maxName))
		p.add(validateTemperatures(field, l))
		for _, next := range l.Next {
			if _, ok := taskWords(next.Task); !ok || next.Due.IsZero() {
				p.add(invalid(field+"next task", string(next.Task)+" "+next.Due.String(), "a kind of task and its day"))
			}
			p.add(checkText(field+"reason", next.Why, maxSentence))
		}
	}
	p.add(validateCautions(in.Cautions))
	if len(in.Calendar) > 0 {
		p.add(checkCalendar(in.Calendar))
	}
	return errors.Join(p...)
}

func validateTemperatures(field string, l HandoverLoop) error {
	var p problems
	for _, c := range []*chemistry.Celsius{l.Freeze, l.Coldest} {
		// Written so that NaN is refused.
		if c != nil && !(*c >= -100 && *c <= 100) {
			p.add(invalid(field+"temperature", c.String(), "-100 to 100 °C"))
		}
	}
	if v := l.Volume; !(v >= 0 && v <= 10_000) {
		p.add(invalid(field+"volume", v.String(), "0 to 10000 l"))
	}
	if u := l.FreezeUncertainty; !(u >= 0 && u <= 50) {
		p.add(invalid(field+"freeze point uncertainty", u.String(), "0 to 50 K"))
	}
	return errors.Join(p...)
}
