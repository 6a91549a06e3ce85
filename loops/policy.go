// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"

	"fillmark/chemistry"
)

// Policy is how often things are done, as data: each figure with its source
// and grade. The zero value plans nothing.
type Policy struct {
	// Version names the policy in plans made from it.
	Version   string     `json:"version"`
	Intervals []Interval `json:"intervals"`
	// Limits are the figures beyond which a reading calls for action.
	Limits []Limit `json:"limits,omitempty"`
	// AheadDays is how long before a due day the first reminder goes out;
	// LateDays and LastDays how long after it the later ones do. CallDays
	// after it the owner is to be called.
	AheadDays int `json:"ahead_days"`
	LateDays  int `json:"late_days"`
	LastDays  int `json:"last_days"`
	CallDays  int `json:"call_days"`
	// JoinDays is within how many days of the first the tasks of an owner are one
	// appointment and one letter. SpacingDays is how many days lie between two
	// letters to an owner at least, and LettersAYear how many reminders there are
	// at most in 365 days; zero bounds nothing.
	JoinDays     int `json:"join_days"`
	SpacingDays  int `json:"spacing_days"`
	LettersAYear int `json:"letters_a_year"`
	// FirstFrost is when the first frost is expected where the workshop's
	// machines stand; the zero value expects none.
	FirstFrost MonthDay `json:"first_frost,omitzero"`
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
	// Own marks a figure of the workshop's own configuration, which counts
	// before every shipped one that fits the same loop.
	Own bool `json:"own,omitempty"`
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
		return Count(i.Months, "month")
	}
	return Count(i.Days, "day")
}

// Every says how often it comes round: "every month", "every 14 days".
func (i Interval) Every() string {
	return "every " + strings.TrimPrefix(i.String(), "1 ")
}

// Limit is one figure beyond which a reading calls for action. A reading
// inside it proves nothing.
type Limit struct {
	Quantity Quantity `json:"quantity"`
	// Machines, Fluids and Inhibitors say which loops it is for; empty stands
	// for all. Metal makes it count only where that metal is wetted.
	Machines   []MachineKind     `json:"machines,omitempty"`
	Fluids     []chemistry.Fluid `json:"fluids,omitempty"`
	Inhibitors []string          `json:"inhibitors,omitempty"`
	Metal      chemistry.Metal   `json:"metal,omitempty"`
	// Low and High bound what needs no action; at least one is set.
	Low    *float64 `json:"low,omitempty"`
	High   *float64 `json:"high,omitempty"`
	Source string   `json:"source"`
	Grade  string   `json:"grade"`
}

// Quantity is what a limit is about.
type Quantity string

// The quantities that have limits.
const (
	PH       Quantity = "pH"
	Strength Quantity = "strength" // volume % of glycol before mixing at 20 °C
)

// Holds tells whether a value is inside the limit.
func (l Limit) Holds(value float64) bool {
	return (l.Low == nil || value >= *l.Low) && (l.High == nil || value <= *l.High)
}

// String prints what the limit asks for: "8 to 10.5".
func (l Limit) String() string {
	switch {
	case l.Low != nil && l.High != nil:
		return fmt.Sprintf("%v to %v", *l.Low, *l.High)
	case l.High != nil:
		return fmt.Sprintf("at most %v", *l.High)
	case l.Low != nil:
		return fmt.Sprintf("at least %v", *l.Low)
	}
	return "anything"
}

func (l Limit) validate(field string) error {
	var wrong problems
	wrong.add(oneOf(field+"quantity", l.Quantity, PH, Strength))
	if l.Low == nil && l.High == nil || l.Low != nil && l.High != nil && *l.Low >= *l.High {
		wrong.add(invalid(field+"low", l.String(), "a lower bound, an upper bound, or both in order"))
	}
	wrong.add(requireText(field+"source", l.Source, 300))
	return wrong.err()
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
	for n, l := range p.Limits {
		wrong.add(l.validate(fmt.Sprintf("policy.limits[%d].", n)))
	}
	if p.FirstFrost != (MonthDay{}) {
		wrong.add(p.FirstFrost.validate("policy.first_frost"))
	}
	if p.AheadDays < 0 || p.LateDays < 1 || p.LastDays <= p.LateDays || p.CallDays <= p.LastDays || p.CallDays > 365 {
		wrong.add(invalid("policy.late_days", fmt.Sprintf("ahead %d, late %d, last %d, call %d", p.AheadDays, p.LateDays, p.LastDays, p.CallDays),
			"days that rise: 0 ≤ ahead, 1 ≤ late < last < call ≤ 365"))
	}
	for _, f := range []struct {
		field       string
		value, most int
	}{{"join_days", p.JoinDays, 60}, {"spacing_days", p.SpacingDays, 60}, {"letters_a_year", p.LettersAYear, 366}} {
		if f.value < 0 || f.value > f.most {
			wrong.add(invalid("policy.letters."+f.field, f.value, fmt.Sprintf("0 to %d", f.most)))
		}
	}
	return wrong.err()
}
