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

// weibayes is a one-sided lower bound of the age by which the share p has
// failed, for a known shape, with any number of failures (Nelson 1985), from how
// far the lives have gone. It is 0 if nothing was watched.
func weibayes(failures, watched, shape, p, level float64) float64 {
	rate := gammaQuantile(level, failures+1) / watched
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
	for shape := range growths {
		most = math.Max(most, math.Pow(-math.Log1p(-p)*exposure(lives, shape)/gammaQuantile(0.05, r), 1/shape))
	}
	return most
}

// Noticed is time after loops were last measured in which some failures would
// have been noticed, and did not come: whoever says that all is fine rules out a
// pump that stopped, and no clog that creeps.
type Noticed struct {
	// Lives are good from their entry on, as far as can be noticed.
	Lives Lives
	// Share is the part of all failures that would be noticed, 0 to 1.
	Share float64
}

// NoticedShare is the part of failures that would be noticed, on the cautious
// side: as if one more had come that was not.
func NoticedShare(noticed, failures int) float64 { return float64(noticed) / float64(failures+1) }

// LifeSpan is where the age lies by which the share p has failed, if of loops
// not measured lately all lies open between two ends: known, as if nothing were
// known of them but what was noticed since, and hopeful, as if they had been good
// until today. Each end has 95 % confidence; +Inf above is open.
func LifeSpan(known Lives, since Noticed, hopeful Lives, p float64) (lower, upper float64) {
	fit, err := fitWeibull(known, since.Lives, since.Share)
	if err != nil {
		fit = nil
	}
	lower = lowerLife(known, since, fit, p)
	if fit, err = FitWeibull(hopeful); err != nil {
		fit = nil
	}
	if !(lower > 0) { // nothing was watched
		lower = 0
	}
	return lower, UpperLife(hopeful, fit, p)
}

// LowerLife is a one-sided lower bound at 95 % of the age by which the share p
// has failed, from any number of failures: with five or more from the
// likelihood ratio ([Weibull.LowerLife]), with fewer the least Weibayes
// bound over shapes from 1 to 3. The fit may be nil if there is none.
func LowerLife(lives Lives, fit *Weibull, p float64) float64 {
	return lowerLife(lives, Noticed{}, fit, p)
}

func lowerLife(lives Lives, since Noticed, fit *Weibull, p float64) float64 {
	if fit != nil && fit.Failures >= FewFailures {
		return fit.LowerLife(p, 0.95)
	}
	least := math.Inf(1)
	for shape := range growths {
		watched := exposure(lives, shape) + since.Share*exposure(since.Lives, shape)
		least = math.Min(least, weibayes(float64(lives.Failures()), watched, shape, p, 0.95))
	}
	return least
}

// growths are the shapes that are gone through where failures are few.
func growths(yield func(shape float64) bool) {
	for tenths := 10; tenths <= 30; tenths++ {
		if !yield(float64(tenths) / 10) {
			return
		}
	}
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
