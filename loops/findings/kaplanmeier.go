// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// FewAtRisk is the number of loops at risk below which a curve says too
// little to be drawn.
const FewAtRisk = 5

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
	// Lower is the exact bound alpha^(1/AtRisk) and Upper is 1; where nothing
	// is left, Lower is 0 and Upper at most 1 - alpha^(1/AtRisk).
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
// one to ask. All causes of failure count.
//
// Where loops joined late, the first ages may have too few at risk for the
// curve to start there: one early failure among them would pull the whole
// curve down. It then starts at the last age before the risk set is largest
// at which fewer than FewAtRisk were at risk, and Start says so.
func KaplanMeier(lives Lives) (*Curve, error) {
	return KaplanMeierFrom(lives, lives.start(), 0.95)
}

// KaplanMeierFrom is [KaplanMeier] conditional on being good at the age
// start, with limits of the wanted level.
func KaplanMeierFrom(lives Lives, start, level float64) (*Curve, error) {
	if lives.has(Interval) || lives.has(Left) {
		return nil, ErrIntervals
	}
	z := normalQuantile((1 + level) / 2)
	c := &Curve{Start: start, Level: level}
	s, greenwood, hazard, hazardVar := 1.0, 0.0, 0.0, 0.0
	lower, upper := 0.0, 1.0
	ages := 0
	for i := range lives.rows {
		if i == 0 || lives.rows[i].lower != lives.rows[i-1].lower {
			ages++
		}
	}
	c.Steps = make([]Step, 0, ages)
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
			lower, upper = math.Pow(1-level, 1/n), 1
		case s == 0:
			// Greenwood has no limit here. Survival never rises, so that the
			// last upper limit still holds, and so does the exact bound of
			// none left of those at risk.
			step.SE, lower, upper = math.NaN(), 0, math.Min(upper, 1-math.Pow(1-level, 1/n))
		case at.failures > 0:
			lower, upper = survivalLimits(s, math.Sqrt(greenwood), z)
		}
		step.Lower, step.Upper = lower, upper
		c.Steps = append(c.Steps, step)
	}
	return c, nil
}

// survivalLimits are the log-log limits of a survival strictly between 0 and 1,
// from the standard error of its logarithm. They stay between 0 and 1, and cover
// best in small samples.
func survivalLimits(s, seLog, z float64) (lower, upper float64) {
	logS := math.Log(s)
	w := z * seLog / logS // negative
	return math.Exp(logS * math.Exp(-w)), math.Exp(logS * math.Exp(w))
}
