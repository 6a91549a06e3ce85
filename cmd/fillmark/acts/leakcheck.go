// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"

	"fillmark/chemistry"
	"fillmark/loops"
)

// LeakCheck runs the pump on a supply of its own, the machine unpowered.
type LeakCheck struct {
	Doing
	Hours    float64
	Dry, Wet bool
}

func leakCheckAct() Definition {
	return define(Definition{
		Name: "leakcheck", Done: "Checked for leaks", Kind: loops.KindLeakCheck,
		Short: "Write down a leak check: the pump on a separate supply, the machine unpowered",
		Long: fmt.Sprintf(`Only a check of %d hours that stayed dry releases the machine; a wet one makes it
leaking however short it was.`, loops.LeakCheckHours),
		Examples: []string{"7K3QXW --hours 24h --dry"},
	}, fields[LeakCheck]{
		one(Field{Name: "hours", Label: "over", Help: "hours that it ran", Example: "24h", Needed: true}, plain("HOURS", "h"), func(a *LeakCheck) *float64 { return &a.Hours }),
		one(Field{Name: "dry", Label: "dry", Help: "it stayed dry to the end"}, truth(), func(a *LeakCheck) *bool { return &a.Dry }),
		one(Field{Name: "wet", Label: "WET", Help: "it got wet, however little"}, truth(), func(a *LeakCheck) *bool { return &a.Wet }),
	}, func(e loops.Entry) LeakCheck {
		return LeakCheck{Hours: e.LeakCheck.Hours, Dry: e.LeakCheck.Dry, Wet: !e.LeakCheck.Dry}
	})
}

// Check wants to know how it ended, and refuses one of an empty loop, which
// cannot leak, and one that ran longer than the loop has been as it is.
func (a *LeakCheck) Check(s Snapshot, today loops.Day) error {
	if a.Dry == a.Wet {
		return wrong("dry", "", "dry or wet: one of them says how it ended")
	}
	on := a.on(today)
	if empty := s.On(on).Empty; !empty.IsZero() {
		return wrong("tag", string(s.Loop.Tag), "a loop that holds something: this one was drained on "+empty.String()+"; record its fill first")
	}
	since, what := loops.AsItIs(s.until(on))
	if most := 24 * float64(on.Sub(since)+1); !since.IsZero() && a.Hours >= most {
		return wrong("hours", figure(a.Hours)+"h", fmt.Sprintf("less than %g h: the loop was %s on %s. A check is written down on the day it ended", most, what, since))
	}
	return nil
}

// Judge says what the check does not release.
func (a *LeakCheck) Judge(Snapshot, loops.Day) []Reason {
	switch {
	case a.Wet:
		return []Reason{{
			Rule: "leaking", Verdict: chemistry.Care, Text: "it is wet: off, unplug, soak up; no power before it is repaired and dry.",
			Source: sourcePractice, Grade: chemistry.Practice, Way: fmt.Sprintf("Repair it and run a check of %d hours.", loops.LeakCheckHours),
		}}
	case a.Hours < loops.LeakCheckHours:
		return []Reason{{
			Rule: "too-short", Verdict: chemistry.Care, Text: short(a.Hours) + ": it releases nothing.", Source: sourcePractice, Grade: chemistry.Practice,
			Way: "Let it run on.",
		}}
	}
	return nil
}

// Apply writes it down.
func (a *LeakCheck) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: a.Hours, Dry: a.Dry}}, today)
}
