// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// Incidence is the share by age of one cause among several that end a life.
type Incidence struct {
	Cause string
	// Start is the age that the shares are conditional on, as of a [Curve].
	Start float64
	Steps []IncidenceStep // rising by age
}

// IncidenceStep is the share that has failed by one cause up to an age.
type IncidenceStep struct {
	Age, Share, SE float64
}

// Incidences estimates, for each cause, the share of lives that it ends by
// each age while the other causes are at work, after Aalen and Johansen
// (1978). One minus the Kaplan-Meier curve of a single cause is larger: it
// answers what would happen if there were no other cause. The standard error
// is the delta method's. Both begin at the same age and it returns ErrIntervals
// like [KaplanMeier].
func Incidences(lives Lives) ([]Incidence, error) {
	if lives.has(Interval) || lives.has(Left) {
		return nil, ErrIntervals
	}
	start := lives.start()
	var out []Incidence
	for i, cause := range lives.causes {
		out = append(out, Incidence{Cause: cause, Start: start, Steps: incidence(lives, int32(i), start)})
	}
	return out, nil
}

// incidence adds up the variance as a square in the final share C, whose
// three factors do not depend on it: a failure at age s moves C by the
// survival before s if it is of this cause, by nothing if of another, and
// else leaves the chance (C - C(s))/S(s) of failing later.
func incidence(lives Lives, cause int32, start float64) []IncidenceStep {
	var out []IncidenceStep
	survival, share := 1.0, 0.0
	var constant, linear, square float64
	for at := range lives.risks(start) {
		own := 0
		for _, r := range at.ended {
			if r.failed() && r.cause == cause {
				own += r.count
			}
		}
		n := float64(at.atRisk)
		q, r := float64(own)/n, float64(at.atRisk-at.failures)/n
		share += survival * q
		if at.failures > 0 {
			constant += survival * survival * q * (1 - q) / n
			b := -2 * q * survival / n
			constant, linear = constant-b*share, linear+b
			if r > 0 {
				a := (1 - r) / r / n
				constant, linear, square = constant+a*share*share, linear-2*a*share, square+a
			}
		}
		survival *= r
		variance := constant + linear*share + square*share*share
		out = append(out, IncidenceStep{Age: at.age, Share: share, SE: math.Sqrt(max(0, variance))})
	}
	return out
}
