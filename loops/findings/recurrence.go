// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// History is what a machine went through under watch, refills and all.
type History struct {
	From, To float64   // ages between which it was watched
	Failures []float64 // ages at which it failed, each above From and at most To
}

// MeanStep is how many failures a machine has had on average by an age.
type MeanStep struct {
	Age              float64
	AtRisk, Failures int
	Mean, SE         float64
	Lower, Upper     float64 // 95 %, on the logarithm
}

// MeanFailures is the mean cumulative number of failures per machine after
// Nelson (1988), with the robust variance of Lawless and Nadeau (1995): a
// machine that fails once may be one that fails again. The error is an
// *InvalidError whose Line is the place of the history, from 1.
func MeanFailures(machines []History) ([]MeanStep, error) {
	type event struct {
		age     float64
		machine int
	}
	var events []event
	for i, h := range machines {
		if !(h.From >= 0 && h.From < h.To && h.To <= MaxAge) {
			return nil, &InvalidError{Line: i + 1, Column: "to", Value: fmt.Sprint(h.To), Reason: "an age above from is right"}
		}
		for _, age := range h.Failures {
			if !(age > h.From && age <= h.To) {
				return nil, &InvalidError{Line: i + 1, Column: "failures", Value: fmt.Sprint(age), Reason: "an age under watch is right"}
			}
			events = append(events, event{age, i})
		}
	}
	slices.SortFunc(events, func(a, b event) int { return cmp.Compare(a.age, b.age) })
	off := make([]float64, len(machines)) // by how much each moves the mean
	var steps []MeanStep
	mean := 0.0
	for from := 0; from < len(events); {
		s := MeanStep{Age: events[from].age}
		to := from
		for ; to < len(events) && events[to].age == s.Age; to++ {
			s.Failures++
		}
		watched := func(h History) bool { return h.From < s.Age && s.Age <= h.To }
		for _, h := range machines {
			if watched(h) {
				s.AtRisk++
			}
		}
		n := float64(s.AtRisk)
		rise := float64(s.Failures) / n
		mean += rise
		for _, e := range events[from:to] {
			off[e.machine] += 1 / n
		}
		variance := 0.0
		for i, h := range machines {
			if watched(h) {
				off[i] -= rise / n
			}
			variance += off[i] * off[i]
		}
		s.Mean, s.SE = mean, math.Sqrt(variance)
		w := math.Exp(normalQuantile(0.975) * s.SE / mean)
		s.Lower, s.Upper = mean/w, mean*w
		steps = append(steps, s)
		from = to
	}
	return steps, nil
}
