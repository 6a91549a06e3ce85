// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"cmp"
	"math"
	"slices"

	"fillmark/loops"
	"fillmark/loops/findings"
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
	// Fine is the last day on which its owner said that all was fine, or a
	// technician read a temperature of the running loop and found nothing missing
	// and nothing wrong; zero where neither was. It rules out what an owner
	// notices, and measures nothing.
	Fine loops.Day `json:"fine,omitzero"`
	// Until is the day on which the charge was replaced or its loop went out of
	// service, and no earlier than it was last known good; zero while it is in use.
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
	firstGood, lastGood loops.Day
	fine                loops.Day // as [Case.Fine]
	replaced            loops.Day // zero where it is the last charge
	served              bool      // was in service at some time
	// left is the day on which it last went out of service; zero while it is in
	// service, or where it never was.
	left loops.Day
	// found is the day the charge was found failed, on the day it failed in
	// service where that is known.
	found, on loops.Day
	cause     loops.Cause
	confirmed bool // the cause, by an opening
	openings  []loops.Entry
}

// livesOf splits a history into the lives of its charges. What a machine came in
// with is one too where it was opened before anybody filled it.
func livesOf(history []loops.Entry) []chargeLife {
	var lives []chargeLife
	for e, state := range loops.States(history) {
		if e.BeginsCharge() {
			if len(lives) > 0 {
				lives[len(lives)-1].replaced = e.Day
			}
			life := chargeLife{charge: *state.Charge, served: state.InService()}
			if e.Fill != nil { // as it was poured: in a tainted loop the state no longer names it
				life.charge, life.poured = e.Fill.Charge, e.Fill.Poured
			}
			lives = append(lives, life)
			continue
		}
		if len(lives) == 0 && e.Kind == loops.KindOpening {
			lives = append(lives, chargeLife{charge: loops.Charge{Origin: loops.UnknownOrigin, FilledTo: e.Day}})
		}
		if len(lives) > 0 {
			lives[len(lives)-1].read(e, state)
		}
	}
	return lives
}

// read takes one entry into the life. A drain ends nothing: what a drained
// loop is found to be when it is opened was so before. As in [loops.Fold] a loop
// gains no life that [loops.State.MayBeGood] does not let.
func (c *chargeLife) read(e loops.Entry, state loops.State) {
	stands := state.MayBeGood()
	switch {
	case state.InService():
		c.served, c.left = true, loops.Day{}
	case c.served && c.left.IsZero():
		c.left = e.Day
	}
	switch e.Kind {
	case loops.KindInspection:
		c.inspected(e.Day, e.Inspection, stands && e.Inspection.Verdict == loops.Good && e.Inspection.Comparable())
		if stands && c.found.IsZero() && runs(e.Inspection) {
			c.fine = e.Day
		}
	case loops.KindAnswer:
		if stands && c.found.IsZero() && e.Answer.Answer == loops.AllFine {
			c.fine = e.Day
		}
	case loops.KindProof:
		c.inspected(e.Day, &e.Proof.After, stands && e.Proof.Valid())
	case loops.KindOpening:
		c.openings = append(c.openings, e)
		c.opened(e.Day, e.Opening)
	}
}

// runs reports whether readings rule out a pump that stopped and a leak: a
// temperature of the running loop, nothing missing, and nothing judged wrong.
func runs(x *loops.Inspection) bool {
	return (x.Die != nil || x.CoolantIn != nil || x.CoolantOut != nil) && (x.Missing == nil || *x.Missing == 0) &&
		(x.Verdict == loops.Good || x.Verdict == loops.NotJudged)
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
// clears the loop of what an inspection had found, not of what an opening has.
func (c *chargeLife) opened(day loops.Day, x *loops.Opening) {
	switch {
	case x.Cause == loops.CauseNone:
	case !x.Cause.InLoop():
		if !c.confirmed {
			c.found, c.cause = loops.Day{}, ""
		}
	default:
		c.cause, c.confirmed = x.Cause, true
		if c.found.IsZero() {
			c.found = day
		}
		if !x.FailedOn.IsZero() {
			c.on = x.FailedOn
		}
	}
}

// life works out the row of the statistics, or says why there is none. Where
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
		case c.lastGood.IsZero():
			return life, "never measured good since its fill"
		case good == 0:
			return life, "measured good on the day of its fill and not since"
		case from.IsZero() && c.charge.Origin != loops.WorkshopFill:
			return life, noEarliestDay
		case life.Entry == good:
			return life, "measured good once, on the day it joined the record already aged"
		}
		return life, ""
	}
	if from.IsZero() {
		return life, noEarliestDay
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

// What leaves a charge out whatever is seen of it. Sealed and open loops are never
// pooled; and where one that failed cannot be counted, those that last are not
// either, or all would seem to last.
const (
	notLookedAt   = "nobody looked whether its loop is sealed"
	noEarliestDay = "nothing is known of how old it can be: the fill has no earliest day"
)

// ageless reports whether the charge is left out whatever is seen of it.
func (c Case) ageless() bool { return c.LeftOut == notLookedAt || c.LeftOut == noEarliestDay }

// Kept is what is on record about one loop.
type Kept struct {
	Loop    loops.Loop
	Machine loops.Machine
	History []loops.Entry
	Lots    map[loops.ContainerID]string // of the containers poured from
}

// Cases returns the lives of the loop's charges, in order.
func (k Kept) Cases() []Case {
	var cases []Case
	for _, life := range livesOf(k.History) {
		c := Case{
			Tag: k.Loop.Tag, Origin: life.charge.Origin, Sealed: k.Loop.Sealed, Failed: !life.found.IsZero(), Cause: life.cause,
			Filled: life.charge.FilledTo, Ended: life.lastGood, Fine: life.fine, Traits: k.traits(life), Fluid: cmp.Or(string(life.charge.Fluid), life.charge.Fluid.Name()),
		}
		if c.Failed {
			c.Ended = life.found
		}
		if c.Until = cmp.Or(life.left, life.replaced); !c.Until.IsZero() || !life.served {
			c.Until = slices.MaxFunc([]loops.Day{cmp.Or(c.Until, c.Filled), c.Ended, c.Fine}, loops.Day.Compare)
		}
		c.Life, c.LeftOut = life.life(k.Machine.Kind == loops.DonorUnit)
		if c.LeftOut == "" && k.Loop.BuiltKnown.How == loops.NotKnown {
			c.LeftOut = notLookedAt
		}
		cases = append(cases, c)
	}
	return cases
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

// Line is the case with its ages.
func (c Case) Line() CaseLine {
	line := CaseLine{Case: c, Good: c.Life.Lower, Entry: c.Life.Entry}
	if c.Life.Failed() {
		line.Found = new(c.Life.Upper)
	}
	return line
}

// noticedCause reports whether an owner would notice a failure of the cause: a
// pump that stopped, a leak. A clog creeps, and of others nobody knows.
func noticedCause(c loops.Cause) bool { return c == loops.CausePump || c == loops.CauseLeak }

// noticed is the time after it was last measured in which its owner would have
// noticed a failure; false if there was none.
func (c Case) noticed() (findings.Life, bool) {
	if c.Failed || c.Fine.IsZero() || c.ageless() || c.Life.Lower == 0 && c.Origin != loops.WorkshopFill {
		return findings.Life{}, false
	}
	life := findings.Life{Entry: c.Life.Lower, Lower: months(c.Filled, c.Fine), Upper: math.Inf(1), Count: 1}
	return life, life.Lower > life.Entry
}

// hopeful is the case as if its charge had been good until it was replaced, or
// until today: the other end of what is not known of a loop that was not seen.
// Of one that joined aged and was never seen good nothing can be said; one that
// was seen good once, on joining, may have been good ever since.
func (c Case) hopeful(today loops.Day) Case {
	seenOnce := c.Life.Lower > 0 && c.Life.Entry == c.Life.Lower
	if c.Failed || c.ageless() || c.LeftOut != "" && c.Origin != loops.WorkshopFill && !seenOnce {
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

// rowsOf returns the rows of cases, each in the group that group names; one that
// it does not place is left out.
func rowsOf(cases []Case, group func(Case) (string, bool)) []findings.Life {
	var rows []findings.Life
	for _, c := range cases {
		if c.LeftOut != "" {
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
