// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"

	"fillmark/chemistry"
)

// State is what a loop's history says about it now. It is always folded
// anew from the whole history by [Fold]; nobody enters it.
type State struct {
	// Charge is the liquid in the loop; nil where it is drained or was never
	// filled.
	Charge *Charge `json:"charge,omitempty"`
	// Missing is how much liquid lacks to the fill mark, as last seen.
	Missing chemistry.Litre `json:"missing_l,omitempty"`
	// MissingSeen is the day Missing was last seen; zero if never since the fill.
	MissingSeen Day `json:"missing_seen,omitzero"`
	// Concern is the day the owner answered "something is off"; zero once a
	// technician has had readings since.
	Concern Day `json:"concern,omitzero"`
	// LastKnownGood is the last day on which a technician's comparable
	// measurement found the loop good with this charge; zero if never.
	LastKnownGood Day `json:"last_known_good,omitzero"`
	// LastLook is the last day on which anybody looked the loop over: an
	// inspection, a hand-over, or an owner's "all fine".
	LastLook Day `json:"last_look,omitzero"`
	// LastService is the last day a technician had readings from the loop.
	LastService Day `json:"last_service,omitzero"`
	// LastTopUp and LastLeakCheck are days of such entries since the fill.
	LastTopUp     Day `json:"last_top_up,omitzero"`
	LastLeakCheck Day `json:"last_leak_check,omitzero"`
	// HandedOver is the day the machine last went back to its owner; zero
	// while it is in the workshop.
	HandedOver Day `json:"handed_over,omitzero"`
	// Failed is the day this charge was found failed, and Cause why; zero and
	// empty while it is in service.
	Failed Day   `json:"failed,omitzero"`
	Cause  Cause `json:"cause,omitempty"`
	// Retired is the day the loop left service; zero while it is in service.
	Retired Day `json:"retired,omitzero"`
	// RunningHours is the hour meter as last read; zero if it never was.
	RunningHours float64 `json:"running_hours,omitempty"`
	// Settings holds the last setting of each task that has one.
	Settings []Setting `json:"settings,omitempty"`
	// Answered holds the last answer to each task that the owner answered
	// since the fill.
	Answered []Answered `json:"answered,omitempty"`
	// Asked is the day the owner asked for a person, with "call me",
	// "something is off" or "pause"; zero once a technician recorded anything.
	Asked Day `json:"asked,omitzero"`
	// AskedFor is that answer.
	AskedFor AnswerKind `json:"asked_for,omitempty"`
}

// Answered is an owner's answer about one task.
type Answered struct {
	Task   TaskKind   `json:"task"`
	Day    Day        `json:"day"`
	Answer AnswerKind `json:"answer"`
}

// AnsweredOn returns the day the owner last answered about a task; zero if
// never since the fill.
func (s State) AnsweredOn(task TaskKind) Day {
	for _, a := range s.Answered {
		if a.Task == task {
			return a.Day
		}
	}
	return Day{}
}

// Setting returns the loop's own setting for a task; the zero value where it
// has none.
func (s State) Setting(task TaskKind) Setting {
	for _, x := range s.Settings {
		if x.Task == task {
			return x
		}
	}
	return Setting{Task: task}
}

// InService tells whether the loop has a charge, is out of the workshop and
// has neither failed nor been retired.
func (s State) InService() bool {
	return s.Charge != nil && !s.HandedOver.IsZero() && s.Failed.IsZero() && s.Retired.IsZero()
}

// Standing returns the entries that count, in the order they happened: those
// that no standing correction strikes out, by day and, within a day, in
// recorded order. Corrections themselves are left out.
func Standing(history []Entry) []Entry {
	struck := map[EntryID]bool{}
	corrections := slices.DeleteFunc(slices.Clone(history), func(e Entry) bool { return e.Kind != KindCorrection })
	// A later correction may strike an earlier one, never the reverse, so the
	// newest decides first.
	slices.SortFunc(corrections, func(a, b Entry) int { return int(b.ID) - int(a.ID) })
	for _, c := range corrections {
		if !struck[c.ID] {
			struck[c.Correction.Strikes] = true
		}
	}
	standing := slices.DeleteFunc(slices.Clone(history), func(e Entry) bool {
		return struck[e.ID] || e.Kind == KindCorrection
	})
	slices.SortStableFunc(standing, func(a, b Entry) int {
		if c := a.Day.Compare(b.Day); c != 0 {
			return c
		}
		return int(a.ID) - int(b.ID)
	})
	return standing
}

// Fold computes the state of a loop from its whole history. It is a pure
// function: the same entries on different days give the same state in
// whatever order they were recorded.
func Fold(history []Entry) State {
	var s State
	for _, e := range Standing(history) {
		s.apply(e)
	}
	return s
}

// apply folds one entry into the state.
func (s *State) apply(e Entry) {
	if e.Kind != KindAnswer {
		s.Asked, s.AskedFor = Day{}, ""
	}
	switch e.Kind {
	case KindIntake:
		// A retired loop that comes in again is in the workshop like any other.
		s.HandedOver, s.Retired = Day{}, Day{}
		s.hours(e.Intake.RunningHours)
	case KindFill:
		charge := e.Fill.Charge
		*s = State{Charge: &charge, HandedOver: s.HandedOver, LastLook: s.LastLook, RunningHours: s.RunningHours, Settings: s.Settings}
	case KindDrain:
		s.Charge, s.Missing, s.MissingSeen = nil, 0, Day{}
	case KindTopUp:
		s.LastTopUp, s.Missing, s.MissingSeen = e.Day, e.TopUp.Missing, e.Day
		if s.Charge != nil {
			charge := s.Charge.toppedUp(e.TopUp)
			s.Charge = &charge
		}
	case KindDose:
		s.dose(e)
	case KindInspection:
		s.inspected(e.Day, e.Inspection)
	case KindProof:
		s.inspected(e.Day, &e.Proof.After)
	case KindOpening:
		s.hours(e.Opening.RunningHours)
		if s.Charge != nil && e.Opening.Cause != CauseNone {
			s.Failed, s.Cause = e.Day, e.Opening.Cause
		}
	case KindLeakCheck:
		s.LastLeakCheck = e.Day
	case KindHandover:
		s.HandedOver, s.LastLook = e.Day, e.Day
	case KindAnswer:
		s.answered(e.Day, e.Answer)
	case KindRetirement:
		s.Retired = e.Day
	case KindSetting:
		s.Settings = slices.DeleteFunc(slices.Clone(s.Settings), func(x Setting) bool { return x.Task == e.Setting.Task })
		s.Settings = append(s.Settings, *e.Setting)
		slices.SortFunc(s.Settings, func(a, b Setting) int { return taskOrder(a.Task) - taskOrder(b.Task) })
	}
}

// answered folds an owner's answer. "All fine" answers the reminder and
// nothing else: it is no measurement. "Something is off" also answers the
// service check it brings about, since the owner knows of it.
func (s *State) answered(day Day, x *Answer) {
	tasks := x.Tasks
	switch x.Answer {
	case AllFine:
		s.LastLook = day
	case SomethingOff:
		s.Concern = day
		tasks = append(slices.Clone(tasks), ServiceCheck)
	}
	if x.Answer != AllFine {
		s.Asked, s.AskedFor = day, x.Answer
	}
	for _, task := range tasks {
		s.Answered = slices.DeleteFunc(slices.Clone(s.Answered), func(a Answered) bool { return a.Task == task })
		s.Answered = append(s.Answered, Answered{task, day, x.Answer})
	}
	slices.SortFunc(s.Answered, func(a, b Answered) int { return taskOrder(a.Task) - taskOrder(b.Task) })
}

// inspected folds a technician's readings: a measured strength and level
// replace what was reckoned, and only a comparable good one makes the loop
// known good.
func (s *State) inspected(day Day, x *Inspection) {
	s.LastLook, s.LastService, s.Concern = day, day, Day{}
	s.hours(x.RunningHours)
	if x.Missing != nil {
		s.Missing, s.MissingSeen = *x.Missing, day
	}
	if x.Mass != nil && s.Charge != nil && s.Charge.Fluid != "" { // of an unknown fluid a reading says no strength
		charge, mass := *s.Charge, *x.Mass
		charge.Mass, charge.MassUncertainty = &mass, x.MassUncertainty
		s.Charge = &charge
	}
	switch {
	case x.Verdict == Good && x.Comparable() && s.Charge != nil:
		s.LastKnownGood = day
	case x.Verdict == Failed && s.Charge != nil && s.Failed.IsZero():
		s.Failed, s.Cause = day, CauseOther
	}
}

// hours folds a reading of the hour meter.
func (s *State) hours(read *float64) {
	if read != nil {
		s.RunningHours = *read
	}
}

// dose folds an additive into the charge.
func (s *State) dose(e Entry) {
	if s.Charge == nil {
		return
	}
	charge, additive := *s.Charge, e.Dose.Additive
	additive.Added = e.Day
	if e.Dose.Role == RoleInhibitor {
		charge.Inhibitor = additive
	} else {
		charge.Biocide = additive
	}
	s.Charge = &charge
}

// benchTemperature is the temperature at which poured volumes are reckoned to
// masses: volume fractions are defined at it.
const benchTemperature chemistry.Celsius = 20

// toppedUp returns the charge after a top-up, by the balance of glycol and
// water masses. Where anything is unknown, or another glycol went in, the
// strength is unknown afterwards: only a reading can tell it.
func (c Charge) toppedUp(t *TopUp) Charge {
	if c.Mass == nil || c.Volume <= 0 {
		c.Mass = nil
		return c
	}
	density, err := chemistry.LiquidDensity(c.Fluid, *c.Mass, benchTemperature)
	if err != nil {
		c.Mass = nil
		return c
	}
	total := float64(c.Volume-t.Drained) * float64(density)
	glycol := total * float64(*c.Mass)
	for _, pour := range t.Poured {
		density, err := chemistry.LiquidDensity(pour.Fluid, pour.Mass, benchTemperature)
		if err != nil || (pour.Fluid != c.Fluid && pour.Mass > 0) {
			c.Mass = nil
			return c
		}
		mass := float64(pour.Volume) * float64(density)
		total += mass
		glycol += mass * float64(pour.Mass)
		c.Volume += pour.Volume
	}
	c.Volume -= t.Drained
	if total <= 0 {
		c.Mass = nil
		return c
	}
	mass := chemistry.MassFraction(glycol / total)
	c.Mass = &mass
	return c
}
