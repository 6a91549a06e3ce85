// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// halfway is how close survival must be to a wanted value to count as equal:
// it is a product of fractions and may be off in its last digits.
const halfway = 1.5e-8

// Estimate is a figure with its limits. NaN in any of them means that the
// data do not reach it: a median that is not reached has at best a Lower.
type Estimate struct {
	Value, Lower, Upper float64
}

// Quantile is the age by which the share p has failed, with limits where the
// curve's own limits cross 1-p (Brookmeyer and Crowley 1982). Where survival
// stays at exactly 1-p for a while it is the middle of that span.
func (c *Curve) Quantile(p float64) Estimate {
	cross := func(of func(Step) float64) float64 { return c.crossing(1-p, of) }
	// Before the first failure and after the last one the limits are bounds
	// of another kind; they are no part of the inversion.
	known := func(limit func(Step) float64) func(Step) float64 {
		return func(s Step) float64 {
			switch s.Survival {
			case 1:
				return 1
			case 0:
				return math.NaN()
			}
			return limit(s)
		}
	}
	return Estimate{
		Value: cross(func(s Step) float64 { return s.Survival }),
		Lower: cross(known(func(s Step) float64 { return s.Lower })),
		Upper: cross(known(func(s Step) float64 { return s.Upper })),
	}
}

// Median is the age by which half have failed.
func (c *Curve) Median() Estimate { return c.Quantile(0.5) }

// crossing is the first age at which a falling curve is at or below level.
func (c *Curve) crossing(level float64, of func(Step) float64) float64 {
	for i, s := range c.Steps {
		value := of(s)
		if math.IsNaN(value) || value > level+halfway {
			continue
		}
		if value < level-halfway {
			return s.Age
		}
		for _, later := range c.Steps[i+1:] {
			if v := of(later); !math.IsNaN(v) && v < level-halfway {
				return (s.Age + later.Age) / 2
			}
		}
		return (s.Age + c.Steps[len(c.Steps)-1].Age) / 2
	}
	return math.NaN()
}

// ReadTo is the largest age at which at least FewAtRisk loops were at risk,
// as far as the curve can be read; 0 if there never were that many.
func (c *Curve) ReadTo() float64 {
	for i := len(c.Steps) - 1; i >= 0; i-- {
		if !c.Steps[i].Few {
			return c.Steps[i].Age
		}
	}
	return 0
}

// RestrictedMean is the mean life up to the age until, and its standard error:
// the area below the curve. Beyond the last age on record it is NaN, unless
// none was left by then.
func (c *Curve) RestrictedMean(until float64) (mean, se float64) {
	if len(c.Steps) == 0 || until < c.Start {
		return math.NaN(), math.NaN()
	}
	if last := c.Steps[len(c.Steps)-1]; until > last.Age && last.Survival > 0 {
		return math.NaN(), math.NaN()
	}
	// From the right end: each failure moves all of the area behind it.
	variance, area, right := 0.0, 0.0, until
	for i := len(c.Steps) - 1; i >= 0; i-- {
		s := c.Steps[i]
		if s.Age >= until {
			continue
		}
		area += s.Survival * (right - s.Age)
		right = s.Age
		if s.Failures > 0 && s.Failures < s.AtRisk {
			n, d := float64(s.AtRisk), float64(s.Failures)
			variance += area * area * d / (n * (n - d))
		}
	}
	return area + right - c.Start, math.Sqrt(variance)
}
