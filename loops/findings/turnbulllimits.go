// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
	"slices"
	"sort"
)

// coarse is the precision of the limits: a ten-thousandth of their distance
// from the estimate, for each takes the iteration several times.
const coarse = 1e-4

// Limits are the limits of survival after an age: the values that the
// likelihood, maximised over all distributions with that value, does not rule
// out. Mass may lie at any age for that, not only where the estimate has some.
//
// The likelihood may fall as far as it does in a binomial at the limits of
// Clopper and Pearson, its counts being the lives known to be on either side of
// the age. With looks at one age that is exact; with many lives on either side
// it is chi-squared with one degree of freedom (Murphy 1995), and wide where
// looks come at any age (Banerjee and Wellner 2001). An end that the lives leave
// open is 0 or 1.
func (e *NPMLE) Limits(age, level float64) (lower, upper float64) {
	p := e.profileAt(age)
	failed := 1 - e.Survival(age)
	lower, upper = 0, 1
	if p.good > 0 {
		lower = 1 - p.limit(failed, 1, p.allowed(p.failed, p.good, level))
	}
	if p.failed > 0 {
		upper = 1 - p.limit(failed, 0, p.allowed(p.good, p.failed, level))
	}
	return lower, upper
}

// medianLimits are the ages between which half can have failed: those at which
// the limits of survival hold one half. What is not reached is unknown.
func (e *NPMLE) medianLimits() (lower, upper Number) {
	ages := []float64{0}
	for i := range e.lives.rows {
		r := &e.lives.rows[i]
		ages = append(ages, r.lower)
		if r.failed() {
			ages = append(ages, r.upper)
		}
	}
	slices.Sort(ages)
	ages = slices.Compact(ages)
	lower, upper = unknown(), unknown()
	below := func(half float64, limit func(age float64) float64) int {
		return sort.Search(len(ages), func(i int) bool { return limit(ages[i]) <= half })
	}
	first := below(0.5, func(age float64) float64 { low, _ := e.Limits(age, 0.95); return low })
	if first > 0 && first < len(ages) {
		lower = Number(ages[first-1])
	}
	last := below(0.5, func(age float64) float64 { _, high := e.Limits(age, 0.95); return high })
	if last < len(ages) {
		upper = Number(ages[last])
	}
	return lower, upper
}

// Survival is the share still good after an age; inside a cell, where nobody
// knows, the share before it.
func (e *NPMLE) Survival(age float64) float64 {
	survival := 1.0
	for _, c := range e.Cells {
		if c.Right <= age {
			survival = c.Survival
		}
	}
	return survival
}

// profile is the likelihood with the share failed by one age held.
type profile struct {
	masses
	best  float64 // log-likelihood of the estimate
	below int     // how many cells end by the age
	// failed and good are the lives known to have ended by the age, and after.
	failed, good float64
	start        []float64
}

func (e *NPMLE) profileAt(age float64) *profile {
	p := &profile{masses: newMasses(e.lives, []edge{{age, ends}, {age, beginsAfter}}), best: e.LogLik}
	for _, c := range p.cells {
		if c.Right <= age {
			p.below++
		}
	}
	for i := range e.lives.rows {
		switch r := &e.lives.rows[i]; {
		case r.upper <= age:
			p.failed += float64(r.count)
		case r.lower >= age:
			p.good += float64(r.count)
		}
	}
	return p
}

// allowed is how far twice the log-likelihood may fall on the way to more on
// the side of which few are known: few of them, many of the others.
func (p *profile) allowed(few, many, level float64) float64 {
	limit := betaQuantile((1+level)/2, few+1, many)
	fall := -2 * many * math.Log1p(-limit)
	if few > 0 {
		n := few + many
		fall = 2 * (few*math.Log(few/n/limit) + many*math.Log(many/n/(1-limit)))
	}
	return math.Max(fall, chiSquareOne(level))
}

// limit is the share failed, from the estimated one towards 0 or 1, at which
// twice the log-likelihood has fallen as far as allowed.
func (p *profile) limit(failed, bound, allowed float64) float64 {
	p.start = make([]float64, len(p.cells))
	for i := range p.start {
		p.start[i] = 1 / float64(len(p.cells))
	}
	step := math.Sqrt(failed*(1-failed)/p.total) + 0.5/p.total
	if bound == 0 {
		step = -step
	}
	return crossing(failed, bound, step, allowed, coarse, p.fall)
}

// fall is how far twice the log-likelihood has fallen with a share failed.
func (p *profile) fall(failed float64) float64 {
	switch {
	case p.below == 0: // what lies there explains no life
		return -2 * p.total * math.Log1p(-failed)
	case p.below == len(p.cells):
		return -2 * p.total * math.Log(failed)
	}
	// A gap moves the fall by twice the number of lives times it at most.
	loose := math.Min(1e-5, math.Max(1e-7, 1e-3/p.total))
	masses, loglik, _, _ := p.climb(held(p.start, p.below-1, failed), p.below-1, failed, loose, 3000)
	if math.IsInf(loglik, -1) || math.IsNaN(loglik) {
		return math.Inf(1)
	}
	p.start = masses
	return 2 * (p.best - loglik)
}
