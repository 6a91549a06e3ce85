// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/loops"
)

// Call is a call to the owner about the loop, or a try at one.
type Call struct {
	Doing
	loops.OwnerCall
}

// furthestAgreed is how many days ahead a day can be agreed on: past a year it
// is a slip of the finger (common practice, no source).
const furthestAgreed = 366

func callAct() Definition {
	return define(Definition{
		Name: "call", Done: "Called the owner", Kind: loops.KindCall,
		Short:    "Write down a call to the owner: whether they were reached, and the day agreed on",
		Examples: []string{"7K3QXW --outcome reached --agreed 2026-12-03", `7K3QXW --outcome "not reached"`},
	}, fields[Call]{
		one(Field{Name: "outcome", Label: "", Help: "whether somebody was reached", Needed: true}, choice("OUTCOME", loops.CallOutcomes()), func(a *Call) *loops.CallOutcome { return &a.Outcome }),
		one(Field{Name: "agreed", Label: "agreed for", Help: "the day on which somebody sees to it, as agreed", Example: "2026-12-03"}, day(), func(a *Call) *loops.Day { return &a.Agreed }),
	}, func(e loops.Entry) Call { return Call{OwnerCall: *e.Call} })
}

// Check wants a day that can still be kept.
func (a *Call) Check(s Snapshot, today loops.Day) error {
	called := a.on(today)
	switch {
	case s.Machine.Kind == loops.DonorUnit:
		return wrong("tag", string(s.Loop.Tag), "a machine with an owner; a donor unit has none to call")
	case a.Agreed.IsZero():
		return nil
	case a.Outcome == loops.NotReached:
		return wrong("agreed", a.Agreed.String(), "no day where nobody was reached")
	case a.Agreed.Before(called):
		return wrong("agreed", a.Agreed.String(), "the day of the call or a later one")
	case a.Agreed.Sub(called) > furthestAgreed:
		return wrong("agreed", a.Agreed.String(), "a day within a year")
	}
	return nil
}

// Apply writes it down.
func (a *Call) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindCall, Call: &a.OwnerCall}, today)
}
