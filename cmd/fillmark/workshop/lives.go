// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"

	"fillmark/loops"
	"fillmark/loops/findings"
	"fillmark/loops/sheet"
)

// daysPerMonth is the mean month of the statistics' clock.
const daysPerMonth = 30.4375

// months returns the months from a day to a later one.
func months(from, to loops.Day) float64 { return float64(to.Sub(from)) / daysPerMonth }

// Case is the life of one charge as the register tells it.
type Case struct {
	Tag    loops.Tag    `json:"tag"`
	Origin loops.Origin `json:"origin"`
	Sealed bool         `json:"sealed"`
	// Failed tells that a cause in the loop ended the life, and Cause which.
	Failed bool        `json:"failed"`
	Cause  loops.Cause `json:"cause,omitempty"`
	// Filled is the latest day on which it can have been filled.
	Filled loops.Day `json:"filled"`
	// Ended is the day it was found failed, or last measured good.
	Ended loops.Day `json:"ended"`
	// Until is the day on which the charge was replaced or its loop went out of
	// service; zero while it is in use.
	Until loops.Day `json:"until,omitzero"`
	// Life is meaningless where LeftOut says why the ages cannot use it.
	Life    findings.Life `json:"-"`
	LeftOut string        `json:"left_out,omitempty"`
	Traits  []Trait       `json:"traits"`
	Fluid   string        `json:"fluid"`
}

// chargeLife is what a history says about one charge, day by day.
type chargeLife struct {
	charge              loops.Charge
	poured              []loops.Pour
	toppedUp            bool
	firstGood, lastGood loops.Day
	replaced            loops.Day // zero where it is the last charge
	// found is the day the charge was found failed, on the day it failed in
	// service where that is known.
	found, on loops.Day
	cause     loops.Cause
	openings  []loops.Entry
}

// livesOf splits a history into the lives of its charges.
func livesOf(history []loops.Entry) []chargeLife {
	var lives []chargeLife
	for e, state := range loops.States(history) {
		if e.Kind == loops.KindFill {
			if len(lives) > 0 {
				lives[len(lives)-1].replaced = e.Day
			}
			lives = append(lives, chargeLife{charge: e.Fill.Charge, poured: e.Fill.Poured})
			continue
		}
		if len(lives) > 0 {
			lives[len(lives)-1].read(e, state)
		}
	}
	return lives
}

// read takes one entry into the life. A drain ends nothing: what a drained
// loop is found to be when it is opened was so before. As in [loops.Fold] a
// retired loop gains no life, and neither does a charge of the workshop's that
// no proof stands for, nor a loop without one.
func (c *chargeLife) read(e loops.Entry, state loops.State) {
	stands := state.Retired.IsZero() && state.Charge != nil && !state.Unproved()
	switch e.Kind {
	case loops.KindTopUp:
		c.toppedUp = true
	case loops.KindInspection:
		c.inspected(e.Day, e.Inspection, stands && e.Inspection.Verdict == loops.Good && e.Inspection.Comparable())
	case loops.KindProof:
		c.inspected(e.Day, &e.Proof.After, stands && e.Proof.Valid())
	case loops.KindOpening:
		c.openings = append(c.openings, e)
		c.opened(e.Day, e.Opening)
	}
}

func (c *chargeLife) inspected(day loops.Day, x *loops.Inspection, good bool) {
	switch {
	case !c.found.IsZero():
	case good:
		if c.firstGood.IsZero() {
			c.firstGood = day
		}
		c.lastGood = day
	case x.Verdict == loops.Failed:
		c.found, c.cause = day, loops.CauseOther // until it is opened
	}
}

// opened confirms the cause. One outside the wetted loop, such as a dry mount,
// clears the loop of what an inspection had found.
func (c *chargeLife) opened(day loops.Day, x *loops.Opening) {
	switch {
	case x.Cause == loops.CauseNone:
	case !x.Cause.InLoop():
		if c.cause == loops.CauseOther {
			c.found, c.cause = loops.Day{}, ""
		}
	default:
		c.cause = x.Cause
		if c.found.IsZero() {
			c.found = day
		}
		if !x.FailedOn.IsZero() {
			c.on = x.FailedOn
		}
	}
}

// life reckons the row of the statistics, or says why there is none. Where
// the fill is known only between two days, every age takes the end that says
// less: good at least so long, failed at most so late.
func (c *chargeLife) life(donor bool) (findings.Life, string) {
	from, to := c.charge.FilledFrom, c.charge.FilledTo
	good := 0.0
	if !c.lastGood.IsZero() {
		good = max(0, months(to, c.lastGood))
	}
	life := findings.Life{Lower: good, Upper: math.Inf(1), Count: 1}
	// Whoever's machine came to us in use had survived until then. Donor units
	// were got whatever their state, so nothing is conditional on it.
	if c.charge.Origin != loops.WorkshopFill && !donor && !c.firstGood.IsZero() {
		life.Entry = max(0, months(to, c.firstGood))
	}
	if c.found.IsZero() {
		switch {
		case good == 0:
			return life, "never measured good since its fill"
		case life.Entry == good:
			return life, "measured good once, on the day it joined the record already aged"
		}
		return life, ""
	}
	if from.IsZero() {
		return life, "failed, and nothing is known of how old it can have been: the fill has no earliest day"
	}
	life.Cause = string(c.cause)
	life.Upper = months(from, c.found)
	if !c.on.IsZero() {
		life.Lower, life.Upper = max(0, months(to, c.on)), months(from, c.on)
	}
	if life.Upper == 0 {
		life.Upper = 1 / daysPerMonth // failed on its first day
	}
	// A correction can leave days that do not fit together.
	if _, err := findings.NewLives([]findings.Life{life}); err != nil {
		return life, "its days contradict each other"
	}
	return life, ""
}

// caseReader turns loops into cases, reading each machine and lot once.
type caseReader struct {
	w        *Workshop
	machines map[loops.MachineID]loops.Machine
	lots     map[loops.ContainerID]string // of containers; nil until asked for
}

func (w *Workshop) newCaseReader() *caseReader {
	return &caseReader{w: w, machines: map[loops.MachineID]loops.Machine{}}
}

func (r *caseReader) machine(id loops.MachineID) (loops.Machine, error) {
	if m, ok := r.machines[id]; ok {
		return m, nil
	}
	m, err := r.w.register.Machine(id)
	if err != nil {
		return m, fmt.Errorf("machine %d: %w", id, err)
	}
	r.machines[id] = m
	return m, nil
}

// traitedLife is the life of a charge with the traits it had.
type traitedLife struct {
	chargeLife
	traits []Trait
}

// lives reads the lives of a loop's charges, and the machine that it is in.
func (r *caseReader) lives(l loops.Loop) (loops.Machine, []traitedLife, error) {
	history, err := r.w.register.History(l.ID)
	if err != nil {
		return loops.Machine{}, nil, err
	}
	machine, err := r.machine(l.Machine)
	if err != nil {
		return loops.Machine{}, nil, err
	}
	var all []traitedLife
	for _, life := range livesOf(history) {
		traits, err := r.traits(machine, l, life)
		if err != nil {
			return loops.Machine{}, nil, err
		}
		all = append(all, traitedLife{life, traits})
	}
	return machine, all, nil
}

// cases returns the lives of a loop's charges.
func (r *caseReader) cases(l loops.Loop) ([]Case, error) {
	if l.LastEntry == 0 {
		return nil, nil
	}
	machine, lives, err := r.lives(l)
	if err != nil {
		return nil, err
	}
	var cases []Case
	for _, life := range lives {
		c := Case{Tag: l.Tag, Origin: life.charge.Origin, Sealed: l.Sealed, Failed: !life.found.IsZero(), Cause: life.cause, Filled: life.charge.FilledTo, Ended: life.lastGood, Traits: life.traits, Fluid: cmp.Or(string(life.charge.Fluid), life.charge.Fluid.Name())}
		if c.Failed {
			c.Ended = life.found
		}
		if c.Until = life.replaced; c.Until.IsZero() && !l.State.InService() {
			c.Until = cmp.Or(c.Ended, c.Filled)
		}
		c.Life, c.LeftOut = life.life(machine.Kind == loops.DonorUnit)
		cases = append(cases, c)
	}
	return cases, nil
}

// openings returns the standing openings of a loop, oldest first.
func (r *caseReader) openings(l loops.Loop) ([]OpeningFile, error) {
	machine, lives, err := r.lives(l)
	if err != nil {
		return nil, err
	}
	var found []OpeningFile
	for _, life := range lives {
		for _, e := range life.openings {
			line := OpeningLine{
				Tag: l.Tag, Entry: e.ID, Day: e.Day, Opening: *e.Opening, Look: e.Opening.Look(), Origin: life.charge.Origin,
				Machine: machine.Kind, Maker: machine.Maker, Model: machine.Model, MonthsFrom: max(0, months(life.charge.FilledTo, e.Day)),
			}
			if !life.charge.FilledFrom.IsZero() {
				line.MonthsTo = months(life.charge.FilledFrom, e.Day)
			}
			found = append(found, OpeningFile{OpeningLine: line, Charge: life.charge, Built: l.Construction, Traits: life.traits,
				Signs: append([]loops.Sign{}, e.Opening.Signs()...), By: e.By, Note: e.Note})
		}
	}
	return found, nil
}

// Cases returns the lives of all charges on record.
func (w *Workshop) Cases() ([]Case, error) {
	cases := []Case{}
	reader := w.newCaseReader()
	for l, err := range w.register.Loops() {
		if err != nil {
			return nil, err
		}
		of, err := reader.cases(l)
		if err != nil {
			return nil, err
		}
		cases = append(cases, of...)
	}
	return cases, nil
}

// CaseLine is a case with its ages, for people.
type CaseLine struct {
	Case
	// Good is the age in months at which it was last known good, Found at which
	// it was found failed; nil where it was not.
	Good  float64  `json:"good_months"`
	Found *float64 `json:"found_failed_months,omitempty"`
	Entry float64  `json:"entry_months,omitempty"`
}

// CaseLines lists the lives of all charges on record with their ages.
func (w *Workshop) CaseLines() ([]CaseLine, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	lines := []CaseLine{}
	for _, c := range cases {
		line := CaseLine{Case: c, Good: c.Life.Lower, Entry: c.Life.Entry}
		if c.Life.Failed() {
			line.Found = new(c.Life.Upper)
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// hopeful is the case as if its charge had been good until it was replaced, or
// until today: the other end of what is not known of a loop that was not seen.
// Of one that joined aged and was never seen good nothing can be said.
func (c Case) hopeful(today loops.Day) Case {
	if c.Failed || c.LeftOut != "" && c.Origin != loops.WorkshopFill {
		return c
	}
	until := today
	if !c.Until.IsZero() {
		until = c.Until
	}
	if good := months(c.Filled, until); good > c.Life.Lower {
		c.Life.Lower, c.LeftOut = good, ""
	}
	return c
}

// rowsOf returns the rows of one origin, each in the group that group names;
// one that it does not place is left out.
func rowsOf(cases []Case, origin loops.Origin, group func(Case) (string, bool)) []findings.Life {
	var rows []findings.Life
	for _, c := range cases {
		if c.Origin != origin || c.LeftOut != "" {
			continue
		}
		name, ok := group(c)
		if !ok {
			continue
		}
		life := c.Life
		life.Group = name
		rows = append(rows, life)
	}
	return rows
}

// WriteLives writes rows as a file of lives, which fillmark lives reads. Ages
// are in months and written in full.
func WriteLives(out io.Writer, rows []findings.Life) error {
	age := func(v float64) string {
		if math.IsInf(v, 1) {
			return ""
		}
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	w := csv.NewWriter(out)
	_ = w.Write([]string{"lower", "upper", "count", "group", "entry", "cause"}) // Error below
	for _, l := range rows {
		_ = w.Write([]string{age(l.Lower), age(l.Upper), strconv.Itoa(l.Count), sheet.Defused(l.Group), age(l.Entry), l.Cause})
	}
	w.Flush()
	return w.Error()
}
