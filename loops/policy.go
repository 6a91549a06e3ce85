// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"

	"fillmark/chemistry"
)

// Policy is how often things are done, as data: each figure with its source
// and grade. The zero value plans nothing.
type Policy struct {
	// Version names the policy in plans made from it.
	Version   string     `json:"version"`
	Intervals []Interval `json:"intervals"`
	// AheadDays is how long before a due day the first reminder goes out;
	// LateDays and LastDays how long after it the later ones do. CallDays
	// after it the owner is to be called.
	AheadDays int `json:"ahead_days"`
	LateDays  int `json:"late_days"`
	LastDays  int `json:"last_days"`
	CallDays  int `json:"call_days"`
}

// Interval is one figure of a policy: for which loops, which task, how long.
type Interval struct {
	Task TaskKind `json:"task"`
	// Machines, Fluids and Sealed say which loops it is for; empty and nil
	// stand for all.
	Machines []MachineKind     `json:"machines,omitempty"`
	Fluids   []chemistry.Fluid `json:"fluids,omitempty"`
	Sealed   *bool             `json:"sealed,omitempty"`
	// First marks an interval counted once, from the fill.
	First bool `json:"first,omitempty"`
	// Exactly one of Days and Months is set.
	Days   int    `json:"days,omitempty"`
	Months int    `json:"months,omitempty"`
	Source string `json:"source"`
	Grade  string `json:"grade"`
}

// After returns the day one interval after from.
func (i Interval) After(from Day) Day { return from.AddMonths(i.Months).AddDays(i.Days) }

// String prints the length of the interval: "6 months".
func (i Interval) String() string {
	if i.Months > 0 {
		return count(i.Months, "month")
	}
	return count(i.Days, "day")
}

func count(n int, unit string) string {
	if n == 1 {
		return "1 " + unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

// Validate refuses a policy that contradicts itself or has absurd figures.
func (p Policy) Validate() error {
	var wrong problems
	wrong.add(requireText("policy.version", p.Version, 60))
	for n, i := range p.Intervals {
		field := fmt.Sprintf("policy.intervals[%d].", n)
		wrong.add(oneOf(field+"task", i.Task, TaskKinds()...))
		for _, m := range i.Machines {
			wrong.add(oneOf(field+"machines", m, MachineKinds()...))
		}
		for _, f := range i.Fluids {
			wrong.add(oneOf(field+"fluids", f, chemistry.Fluids()...))
		}
		if (i.Days > 0) == (i.Months > 0) || i.Days < 0 || i.Months < 0 || i.Days > 3660 || i.Months > 240 {
			wrong.add(invalid(field+"days", i.Days, "either days (1 to 3660) or months (1 to 240)"))
		}
		wrong.add(requireText(field+"source", i.Source, 300))
	}
	if p.AheadDays < 0 || p.LateDays < 1 || p.LastDays <= p.LateDays || p.CallDays <= p.LastDays || p.CallDays > 365 {
		wrong.add(invalid("policy.late_days", fmt.Sprintf("ahead %d, late %d, last %d, call %d", p.AheadDays, p.LateDays, p.LastDays, p.CallDays),
			"days that rise: 0 ≤ ahead, 1 ≤ late < last < call ≤ 365"))
	}
	return wrong.err()
}
