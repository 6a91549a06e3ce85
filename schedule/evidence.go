// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"math"

	"fillmark/loops"
)

// Evidence is what opened loops have taught, as far as plans use it. The zero
// value is none on record.
type Evidence struct {
	// Version rises with every change, so that old plans are found and renewed.
	Version uint64        `json:"version"`
	Ages    []EvidenceAge `json:"ages,omitempty"`
}

// EvidenceAge is the age at which loops are to be looked into. Charges from a
// factory and from the workshop are never pooled, nor are those of sealed and
// of open loops.
type EvidenceAge struct {
	Origin loops.Origin `json:"origin"`
	Sealed bool         `json:"sealed"`
	// Months since the fill, more than 0.
	Months float64 `json:"months"`
	// Shape is the Weibull shape that the age was reckoned with; zero reads as
	// 3, the one of those weighed that leaves the shortest time to the next look.
	Shape float64 `json:"shape,omitempty"`
	// Text gives the figures: how many loops, how many failed, how old.
	Text string `json:"text"`
	// Since is the day from which this is known: no look can have been due on
	// an earlier one. Zero is always.
	Since loops.Day `json:"since,omitzero"`
}

// daysPerMonth is the mean month of the statistics' clock.
const daysPerMonth = 30.4375

// restDays is for how long a loop is left alone that was just measured good,
// however old it is (own rule, no source).
const restDays = 61

// steepest is the largest shape that the evidence age is reckoned with.
const steepest = 3

// Next returns the age in months of the next look at a loop that was good at
// an age: (aᵝ + monthsᵝ)^(1/β), which keeps the chance of a failure between two
// looks the same (sequential inspection, Barlow and Proschan 1965).
func (a EvidenceAge) Next(goodAt float64) float64 {
	shape := a.Shape
	if shape == 0 {
		shape = steepest
	}
	return math.Pow(math.Pow(max(0, goodAt), shape)+math.Pow(a.Months, shape), 1/shape)
}

// validate refuses ages that nothing can be planned from.
func (e Evidence) validate() error {
	for _, a := range e.Ages {
		if !(a.Months > 0 && a.Months <= 1200) || !(a.Shape >= 0 && a.Shape <= 20) {
			return refused("evidence", fmt.Sprintf("%v months, shape %v", a.Months, a.Shape), "0 to 1200 months and a shape of 0 to 20")
		}
	}
	return nil
}

// evidence adds the look that the evidence asks for: from the fill, or from
// the last measurement that found this charge good.
func (p *planner) evidence() {
	filled, said := p.filled()
	for _, a := range p.in.Evidence.Ages {
		if a.Origin != p.charge.Origin || a.Sealed != p.in.Loop.Sealed {
			continue
		}
		good, earliest, floor := 0.0, a.Since, "when the openings began to say so"
		known := said + ", not measured good since"
		if last := p.in.Loop.State.LastKnownGood; last.After(filled) {
			good, known = float64(last.Sub(filled))/daysPerMonth, said+", measured good on "+last.Long()
		}
		if rest := p.in.Loop.State.LastKnownGood; !rest.IsZero() && rest.AddDays(restDays).After(earliest) {
			earliest, floor = rest.AddDays(restDays), fmt.Sprintf("%d days after that measurement", restDays)
		}
		day := filled.AddDays(int(a.Next(good) * daysPerMonth))
		if day.Before(earliest) {
			day = earliest
			known += "; not before " + day.Long() + ", " + floor
		}
		p.add(loops.ServiceCheck, loops.Clause{
			Kind: loops.ByEvidence, Day: day, Source: "opened loops on record", Grade: GradeComputed,
			Text:      fmt.Sprintf("Opened loops call for a look at %.1f months (%s); %s.", a.Next(good), a.Text, known),
			OwnerText: "Similar machines that we opened showed first troubles from about this age on.",
		})
	}
}
