// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"errors"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/inspection"
)

// Proof compares readings after the repair with those before it.
type Proof struct {
	Doing
	// Before may be left empty: then the readings of this stay from before the
	// repair count.
	Before, After loops.Inspection
}

func proofAct() Definition {
	return define(Definition{
		Name: "proof", Done: "Proved", Kind: loops.KindProof, Releases: true,
		Short: "Prove the repair: readings before and after, comparable by room and power",
		Long: `Without --before the readings from before the repair count that are on record
since the machine came in. A chiller is proved by its set point: what leaves it
(--coolant-in, into what it cools) and what comes back (--coolant-out).`,
		Examples: []string{
			"7K3QXW --before die=81C --before room=19C --before power=90W --die 61C --room 20C --power 90W --steady --verdict good",
			"7K3QXW --before coolant-in=16C --before coolant-out=19C --before power=400W --coolant-in 12C --coolant-out 15C --set-point 12C --power 400W --steady",
		},
	}, append(append(thermalFields("before-", ", before", func(a *Proof) *loops.Inspection { return &a.Before }),
		thermalFields("", "", func(a *Proof) *loops.Inspection { return &a.After })...),
		one(Field{Name: "verdict", Label: "judged", Help: "what you make of the loop as a whole (good unless said)"}, choice("VERDICT", judgements()), func(a *Proof) *loops.Judgement { return &a.After.Verdict }),
	), func(e loops.Entry) Proof { return Proof{Before: e.Proof.Before, After: e.Proof.After} })
}

// Check refuses the proof of a loop that left service, and of an empty one.
func (a *Proof) Check(s Snapshot, today loops.Day) error {
	if err := s.returned(a.on(today), loops.KindProof); err != nil {
		return err
	}
	chiller := s.Machine.Kind.IsChiller() && a.After.Die == nil || a.After.SetPoint != nil
	switch after := a.proof(s, today).After; {
	case !chiller && after.Die == nil:
		return wrong("die", "", "the hottest die or heat source after the repair, such as 61C")
	case chiller && after.CoolantIn == nil:
		return wrong("coolant-in", "", "the coolant that leaves the chiller after the repair, such as 12C")
	case chiller && after.CoolantOut == nil:
		return wrong("coolant-out", "", "the coolant that comes back to the chiller after the repair, such as 15C")
	case chiller && after.SetPoint == nil:
		return wrong("set-point", "", "the chiller's set point, such as 12C")
	}
	return s.charged(a.on(today))
}

// proof completes it with the readings from before the repair.
func (a *Proof) proof(s Snapshot, today loops.Day) loops.Proof {
	p := loops.Proof{Before: a.Before, After: a.After}
	if p.After.Verdict == "" {
		p.After.Verdict = loops.Good
	}
	s.setPoint(&p.After)
	said := p.Before
	said.Verdict = ""
	if said == (loops.Inspection{}) {
		if before := s.before(a.on(today), p.After.SetPoint != nil); before != nil {
			p.Before = *before
		}
	} else if p.Before.SetPoint == nil && p.Before.CoolantIn != nil {
		p.Before.SetPoint = p.After.SetPoint
	}
	if p.Before.Verdict == "" {
		p.Before.Verdict = loops.NotJudged
	}
	return p
}

// setPoint completes a chiller's readings with the set point on record, where
// nobody read another.
func (s Snapshot) setPoint(x *loops.Inspection) {
	if x.SetPoint == nil && x.Die == nil && x.CoolantIn != nil && x.CoolantOut != nil && s.Machine.Kind.IsChiller() {
		x.SetPoint = s.Loop.SetPoint
	}
}

// before finds the last comparable readings of this stay from before the last
// fill or swap, or before the day where there was none: a chiller's by its set
// point, or others.
func (s Snapshot) before(on loops.Day, chiller bool) *loops.Inspection {
	var found *loops.Inspection
	filled := false
	for _, e := range loops.Standing(s.History) {
		switch {
		case e.Day.After(on):
			return found
		case e.Kind == loops.KindIntake:
			found, filled = nil, false
		case e.BeginsCharge() && found != nil:
			filled = true
		case e.Kind == loops.KindInspection && e.Inspection.Comparable() && e.Inspection.OfChiller() == chiller && !filled:
			found = e.Inspection
		}
	}
	return found
}

// Judge asks inspection whether the two compare and whether it got better.
func (a *Proof) Judge(s Snapshot, today loops.Day) []Reason {
	p := a.proof(s, today)
	if p.Valid() {
		return nil
	}
	compared, err := inspection.Compare(p.Before.Reading(), p.After.Reading())
	text := compared.Sentence()
	var refused inspection.Refusal
	switch {
	case errors.As(err, &refused):
		text = "Nothing is proved: " + refused.Why + "."
	case err != nil:
		text = "Nothing is proved: " + err.Error() + "."
	case compared.Proved():
		text = "The loop is judged “" + string(p.After.Verdict) + "” after it; only a good one is proved."
	}
	return []Reason{{
		Rule: "not-proved", Verdict: chemistry.Stop, Text: text, Source: "inspection of the readings", Grade: chemistry.Computed,
		Way: "Write the figures down as readings, measure again at like power until it is steady, or hand it back without a proof and say why.",
	}}
}

// Apply writes it down.
func (a *Proof) Apply(s Snapshot, today loops.Day) loops.Change {
	p := a.proof(s, today)
	return a.writes(loops.Entry{Kind: loops.KindProof, Proof: &p}, today)
}
