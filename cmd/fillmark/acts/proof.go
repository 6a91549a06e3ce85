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
		Long: `Without --before-… the readings from before the repair count that are on record
since the machine came in.`,
		Examples: []string{"7K3QXA --before-die 81C --before-room 19C --before-power 90W --die 61C --room 20C --power 90W --steady --verdict good"},
	}, append(append(thermalFields("before-", ", before", func(a *Proof) *loops.Inspection { return &a.Before }),
		thermalFields("", "", func(a *Proof) *loops.Inspection { return &a.After })...),
		one(Field{Name: "verdict", Label: "judged", Help: "what you make of the loop as a whole (good unless said)"}, choice("VERDICT", judgements()), func(a *Proof) *loops.Judgement { return &a.After.Verdict }),
	), func(e loops.Entry) Proof { return Proof{Before: e.Proof.Before, After: e.Proof.After} })
}

// Kind is proof.
func (a *Proof) Kind() loops.EntryKind { return loops.KindProof }

// Check refuses the proof of a loop that left service, and of an empty one.
func (a *Proof) Check(s Snapshot, today loops.Day) error {
	if err := s.returned(a.on(today), loops.KindProof); err != nil {
		return err
	}
	if a.After.Die == nil {
		return wrong("die", "", "the hottest die or heat source after the repair, such as 61C")
	}
	return s.charged(a.on(today))
}

// proof completes it with the readings from before the repair.
func (a *Proof) proof(s Snapshot, today loops.Day) loops.Proof {
	p := loops.Proof{Before: a.Before, After: a.After}
	if p.After.Verdict == "" {
		p.After.Verdict = loops.Good
	}
	said := p.Before
	said.Verdict = ""
	if said == (loops.Inspection{}) {
		if before := s.before(a.on(today)); before != nil {
			p.Before = *before
		}
	}
	if p.Before.Verdict == "" {
		p.Before.Verdict = loops.NotJudged
	}
	return p
}

// before finds the last comparable readings of this stay from before the last
// fill, or before the day where the loop was not filled again.
func (s Snapshot) before(on loops.Day) *loops.Inspection {
	var found *loops.Inspection
	filled := false
	for _, e := range loops.Standing(s.History) {
		switch {
		case e.Day.After(on):
			return found
		case e.Kind == loops.KindIntake:
			found, filled = nil, false
		case e.Kind == loops.KindFill && found != nil:
			filled = true
		case e.Kind == loops.KindInspection && e.Inspection.Comparable() && !filled:
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
	compared, err := p.Compared()
	text := "The repair is not proved. " + compared.Text
	var refused inspection.Refusal
	switch {
	case errors.As(err, &refused):
		text = "Nothing is proved: " + refused.Why + "."
	case err != nil:
		text = "Nothing is proved: " + err.Error() + "."
	case compared.Apart != "":
		text = "Nothing is proved: " + compared.Apart + ". " + compared.Text
	case compared.Proved:
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
	e := a.entry(loops.KindProof, today)
	e.Proof = &p
	return loops.Change{Entries: []loops.Entry{e}}
}
