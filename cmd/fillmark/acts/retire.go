// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/loops"
)

// Retire ends the loop's plan.
type Retire struct {
	Doing
	loops.Retirement
}

func retireAct() Definition {
	return define(Definition{
		Name: "retire", Done: "Left service", Kind: loops.KindRetirement,
		Short:    "Take the loop out of service; nothing more is planned for it",
		Examples: []string{`7K3QXW --reason "replaced by an air cooler" --stated-rating 130W`, `7K3QXW --reason "lost sight of"`},
	}, fields[Retire]{
		one(Field{Name: "reason", Label: "", Help: "why it goes out of service; for one that goes to an owner on record see transfer", Needed: true}, choice("REASON", loops.RetirementReasons()), func(a *Retire) *loops.RetirementReason { return &a.Reason }),
		may(Field{Name: "stated-rating", Also: []string{"stated rating"}, Label: "the new cooler's label says", Help: "what a replacement cooler claims; noted, not judged: a load test decides", Example: "130W"}, plain("POWER", "W"), func(a *Retire) **float64 { return &a.StatedRatingW }),
	}, func(e loops.Entry) Retire { return Retire{Retirement: *e.Retirement} })
}

// Check refuses to retire a loop twice.
func (a *Retire) Check(s Snapshot, today loops.Day) error {
	return s.returned(a.on(today), loops.KindRetirement)
}

// Apply retires it.
func (a *Retire) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindRetirement, Retirement: &a.Retirement}, today)
}
