// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"slices"

	"fillmark/loops"
)

// Override is one line of a workshop's own policy, as its configuration holds
// it: for the loops it names, the task comes this often and no shipped figure
// counts.
type Override struct {
	Task loops.TaskKind
	// Machines and Build say which loops it is for; empty stands for all.
	Machines []loops.MachineKind
	Build    string // "sealed", "open" or empty
	// Exactly one of Days and Months is set.
	Days   int
	Months int
	Why    string // shown as the source; may be empty
}

// ownSource stands where an override says no reason.
const ownSource = "this workshop's configuration"

// WithOverrides returns the policy with a workshop's own figures, under a
// version that names them. A policy that contradicts itself is refused, all
// contradictions at once: two overrides for the same loops, a task that cannot
// be done to the loops named, an interval that is none or absurd.
func WithOverrides(p loops.Policy, overrides []Override) (loops.Policy, error) {
	if len(overrides) == 0 {
		return p, p.Validate()
	}
	var wrong []error
	p.Intervals = slices.Clone(p.Intervals)
	for n, o := range overrides {
		field := fmt.Sprintf("policy.overrides[%d]", n)
		refuse := func(value any, reason string) {
			wrong = append(wrong, &loops.InvalidError{Field: field, Value: fmt.Sprint(value), Reason: reason})
		}
		if value, reason := o.impossible(); reason != "" {
			refuse(value, reason)
			continue
		}
		if about, _ := loops.AboutTask(o.Task); o.Build == "sealed" && about.Sealed != "" {
			refuse(o.Task, "a task that can be done to a sealed loop: it is not opened to add anything; a "+string(about.Sealed)+" takes its place")
		}
		for m, other := range overrides[:n] {
			if o.Task == other.Task && meets(o, other) && conditions(o.interval()) == conditions(other.interval()) {
				refuse(o.Task, fmt.Sprintf("one interval for the same loops; line %d gives another", m))
			}
		}
		p.Intervals = append(p.Intervals, o.interval())
	}
	raw, err := json.Marshal(overrides)
	if err != nil {
		return loops.Policy{}, fmt.Errorf("policy: overrides: %w", err)
	}
	p.Version = fmt.Sprintf("%s+%08x", p.Version, crc32.ChecksumIEEE(raw))
	if err := errors.Join(append(wrong, p.Validate())...); err != nil {
		return loops.Policy{}, err
	}
	return p, nil
}

func (o Override) interval() loops.Interval {
	i := loops.Interval{
		Task: o.Task, Machines: o.Machines, Days: o.Days, Months: o.Months, Source: ownSource, Grade: GradeOwn, Own: true,
	}
	if o.Build != "" {
		sealed := o.Build == "sealed"
		i.Sealed = &sealed
	}
	if o.Why != "" {
		i.Source += ": " + o.Why
	}
	return i
}

// impossible says what is wrong with one line by itself; "" where nothing is.
func (o Override) impossible() (value, reason string) {
	if !slices.Contains(loops.TaskKinds(), o.Task) {
		return string(o.Task), fmt.Sprintf("a task: one of %q", loops.TaskKinds())
	}
	for _, m := range o.Machines {
		if !slices.Contains(loops.MachineKinds(), m) || m == loops.DonorUnit {
			return string(m), fmt.Sprintf("machines: of %q", slices.DeleteFunc(loops.MachineKinds(), func(m loops.MachineKind) bool { return m == loops.DonorUnit }))
		}
	}
	if !slices.Contains([]string{"", "sealed", "open"}, o.Build) {
		return o.Build, "build: sealed, open, or nothing for both"
	}
	if (o.Days == 0) == (o.Months == 0) || o.Days < 0 || o.Months < 0 || o.Days > 3660 || o.Months > 240 {
		return fmt.Sprintf("%d days, %d months", o.Days, o.Months), "either days (1 to 3660) or months (1 to 240)"
	}
	return "", ""
}

// meets tells whether some loop fits both overrides.
func meets(a, b Override) bool {
	build := a.Build == "" || b.Build == "" || a.Build == b.Build
	machines := len(a.Machines) == 0 || len(b.Machines) == 0 ||
		slices.ContainsFunc(a.Machines, func(m loops.MachineKind) bool { return slices.Contains(b.Machines, m) })
	return build && machines
}
