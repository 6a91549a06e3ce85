// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
	"slices"
)

// FewAtRisk is the number of loops at risk below which a curve says too
// little to be drawn.
const FewAtRisk = 5

// Limits names how the limits of a curve are made.
type Limits int

// The three usual kinds of limits. LogLog stays between 0 and 1 and covers
// best in small samples; the others are there to compare with other programs.
const (
	LogLog Limits = iota
	Log
	Plain
)

// Step is one age at which something ended.
type Step struct {
	Age      float64
	AtRisk   int
	Failures int
	Censored int
	// Survival is the share still good after this age; SE its standard error
	// by Greenwood's formula, NaN where nothing is left.
	Survival, SE float64
	// Lower and Upper are the limits of Survival. Before the first failure
	// Lower is the exact bound alpha^(1/AtRisk) and Upper is 1.
	Lower, Upper float64
	// Hazard is the Nelson-Aalen cumulative hazard, HazardSE its standard
	// error.
	Hazard, HazardSE float64
	// Few is set where fewer than FewAtRisk loops are at risk: the numbers
	// stand, and a drawing ends before them.
	Few bool
}

// Curve is a Kaplan-Meier curve.
type Curve struct {
	// Start is the age that the curve is conditional on: the share of those
	// that were good then. 0 unless loops joined late, see [KaplanMeier].
	Start float64
	Level float64 // of the limits
	Steps []Step  // rising by age
}

// KaplanMeier estimates survival by age after Kaplan and Meier (1958), with
// log-log limits at 95 %, from lives whose age at failure is known or
// right-censored; for others it returns ErrIntervals and [Turnbull] is the
// one to ask. All causes of failure count; see [Lives.ForCause].
//
// Where loops joined late, the first ages may have too few at risk for the
// curve to start there: one early failure among them would pull the whole
// curve down. It then starts at the last age before the risk set is largest
// at which fewer than FewAtRisk were at risk, and Start says so.
func KaplanMeier(lives Lives) (*Curve, error) {
	start := 0.0
	if lives.lateEntry() {
		start = startAge(lives)
	}
	return kaplanMeierFrom(lives, start, 0.95, LogLog)
}

// KaplanMeierFrom is [KaplanMeier] conditional on being good at the age
// start, with limits of the wanted level and kind.
func KaplanMeierFrom(lives Lives, start, level float64, limits Limits) (*Curve, error) {
	return kaplanMeierFrom(lives, start, level, limits)
}

func kaplanMeierFrom(lives Lives, start, level float64, limits Limits) (*Curve, error) {
	if lives.has(Interval) || lives.has(Left) {
		return nil, ErrIntervals
	}
	z := normalQuantile((1 + level) / 2)
	c := &Curve{Start: start, Level: level}
	s, greenwood, hazard, hazardVar := 1.0, 0.0, 0.0, 0.0
	upper := 1.0
	for at := range lives.risks(start) {
		n, d := float64(at.atRisk), float64(at.failures)
		if at.failures > 0 {
			s *= 1 - d/n
			greenwood += d / (n * (n - d))
			hazard += d / n
			hazardVar += d / (n * n)
			if at.failures == at.atRisk {
				s = 0
			}
		}
		step := Step{Age: at.age, AtRisk: at.atRisk, Failures: at.failures, Censored: at.censored, Survival: s,
			SE: s * math.Sqrt(greenwood), Hazard: hazard, HazardSE: math.Sqrt(hazardVar), Few: at.atRisk < FewAtRisk}
		switch {
		case s == 1:
			step.Lower, step.Upper = math.Pow(1-level, 1/n), 1
		case s == 0:
			// Greenwood has no limit here; survival never rises, so that the
			// last upper limit still holds.
			step.SE, step.Lower, step.Upper = math.NaN(), 0, upper
		default:
			step.Lower, step.Upper = survivalLimits(s, math.Sqrt(greenwood), z, limits)
		}
		upper = step.Upper
		c.Steps = append(c.Steps, step)
	}
	return c, nil
}

// survivalLimits are the limits of a survival strictly between 0 and 1, from
// the standard error of its logarithm.
func survivalLimits(s, seLog, z float64, limits Limits) (lower, upper float64) {
	switch limits {
	case Plain:
		return max(0, s-z*s*seLog), min(1, s+z*s*seLog)
	case Log:
		return s * math.Exp(-z*seLog), min(1, s*math.Exp(z*seLog))
	default:
		w := z * seLog / math.Log(s) // negative
		return math.Pow(s, math.Exp(-w)), math.Pow(s, math.Exp(w))
	}
}

// risk is one age at which lives end, with who was at risk just before.
type risk struct {
	age                        float64
	atRisk, failures, censored int
	joined                     []Life // the rows that came under observation since the age before
	ended                      []Life // the rows that end here
}

// risks walks through the ages at which lives end, from start on. Failures
// count before those censored at the same age.
func (l Lives) risks(start float64) func(yield func(risk) bool) {
	return func(yield func(risk) bool) {
		entered := l.entries()
		here, next := 0, 0 // under observation; next entry
		for from := 0; from < len(l.rows); {
			at := risk{age: l.rows[from].Lower}
			to := from
			for ; to < len(l.rows) && l.rows[to].Lower == at.age; to++ {
				switch r := &l.rows[to]; {
				case r.Failed():
					at.failures += r.Count
				case r.watched():
					at.censored += r.Count
				}
			}
			joined := next
			for ; next < len(entered) && entered[next].Entry < max(at.age, math.SmallestNonzeroFloat64); next++ {
				here += entered[next].Count
			}
			at.joined = entered[joined:next]
			at.atRisk, at.ended = here, l.rows[from:to]
			here -= at.failures + at.censored
			from = to
			if start > 0 && at.age <= start {
				continue
			}
			if !yield(at) {
				return
			}
		}
	}
}

// entries returns the rows that were watched for a while, rising by the age
// of entry.
func (l Lives) entries() []Life {
	if !l.lateEntry() {
		return l.rows
	}
	var out []Life
	for _, r := range l.rows {
		if r.watched() {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b Life) int {
		switch {
		case a.Entry < b.Entry:
			return -1
		case a.Entry > b.Entry:
			return 1
		}
		return 0
	})
	return out
}

// startAge is the last age of an ending, before the risk set is largest, at
// which fewer than FewAtRisk were at risk; 0 if there is none.
func startAge(lives Lives) float64 {
	var all []risk
	largest := 0
	for at := range lives.risks(0) {
		if all = append(all, at); at.atRisk > all[largest].atRisk {
			largest = len(all) - 1
		}
	}
	if len(all) == 0 || all[largest].atRisk < FewAtRisk {
		return 0
	}
	first := largest
	for first > 0 && all[first-1].atRisk >= FewAtRisk {
		first--
	}
	if first == 0 {
		return 0
	}
	return all[first-1].age
}
