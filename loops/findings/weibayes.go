// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
	"strconv"
)

// FewFailures is the number of failures below which the shape of a Weibull
// distribution is not estimated but gone through.
const FewFailures = 5

// exposure is the sum of age^shape over the lives: how far they have gone,
// in the time on which the hazard is constant. A loop found failed counts up
// to where it was last known good, which is the cautious side.
func exposure(lives Lives, shape float64) float64 {
	sum := 0.0
	for _, r := range lives.rows {
		sum += float64(r.count) * (math.Pow(r.lower, shape) - math.Pow(r.entry, shape))
	}
	return sum
}

// Weibayes is a one-sided lower bound of the age by which the share p has
// failed, for a known shape, with any number of failures (Nelson 1985). It is
// 0 if nothing was watched.
func Weibayes(lives Lives, shape, p, level float64) float64 {
	r := float64(lives.Failures())
	rate := gammaQuantile(level, r+1) / exposure(lives, shape)
	return math.Pow(-math.Log1p(-p)/rate, 1/shape)
}

// UpperLife is a one-sided upper bound at 95 % of the age by which the share p has
// failed, found as [LowerLife] is; +Inf where the failures leave it open.
func UpperLife(lives Lives, fit *Weibull, p float64) float64 {
	if fit != nil && fit.Failures >= FewFailures {
		return fit.LifeLimits(p, 0.90).Upper
	}
	r := float64(lives.Failures())
	if r == 0 {
		return math.Inf(1)
	}
	most := 0.0
	for tenths := 10; tenths <= 30; tenths++ {
		shape := float64(tenths) / 10
		most = math.Max(most, math.Pow(-math.Log1p(-p)*exposure(lives, shape)/gammaQuantile(0.05, r), 1/shape))
	}
	return most
}

// LifeSpan is where the age lies by which the share p has failed, if of loops
// not seen lately all lies open between two ends: known, as if nothing were known
// of them since, and hopeful, as if they had been good until today. Each end has
// 95 % confidence; +Inf above is open.
func LifeSpan(known, hopeful Lives, p float64) (lower, upper float64) {
	fitOf := func(l Lives) *Weibull {
		fit, err := FitWeibull(l)
		if err != nil {
			return nil
		}
		return fit
	}
	lower, upper = LowerLife(known, fitOf(known), p), UpperLife(hopeful, fitOf(hopeful), p)
	if !(lower > 0) { // nothing was watched
		lower = 0
	}
	return lower, upper
}

// LowerLife is a one-sided lower bound at 95 % of the age by which the share p
// has failed, from any number of failures: with five or more from the
// likelihood ratio ([Weibull.LowerLife]), with fewer the least of [Weibayes]
// over shapes from 1 to 3. The fit may be nil if there is none.
func LowerLife(lives Lives, fit *Weibull, p float64) float64 {
	if fit != nil && fit.Failures >= FewFailures {
		return fit.LowerLife(p, 0.95)
	}
	least := math.Inf(1)
	for tenths := 10; tenths <= 30; tenths++ {
		least = math.Min(least, Weibayes(lives, float64(tenths)/10, p, 0.95))
	}
	return least
}

// ZeroFailureN is how many loops must reach an age without a failure to show,
// with the confidence given, that at most the share p fails by then.
func ZeroFailureN(p, confidence float64) (int, error) {
	for _, v := range []struct {
		name  string
		value float64
	}{{"share", p}, {"confidence", confidence}} {
		if !(v.value > 0 && v.value < 1) {
			return 0, &InvalidError{Column: v.name, Value: strconv.FormatFloat(v.value, 'g', -1, 64), Reason: "a figure above 0 and below 1 is right"}
		}
	}
	return int(math.Ceil(math.Log1p(-confidence)/math.Log1p(-p) - 1e-12)), nil
}
