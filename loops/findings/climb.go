// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
	"slices"
)

// climb raises the likelihood from p until the gap is below wanted, or for
// most steps. Where last is not negative the cells up to and with last keep
// the sum held. It returns the masses, their log-likelihood, gap and steps.
//
// A step of the EM algorithm is cheap but short. Two of them show the
// direction, and the third starts from the point far ahead to which they lead
// (Varadhan and Roland 2008, step length S3), if the likelihood is higher there.
func (m masses) climb(p []float64, last int, hold, wanted float64, most int) (best []float64, loglik, gap float64, steps int) {
	work := newClimber(m, last, hold)
	p = slices.Clone(p)
	p1, p2, ahead, next := make([]float64, len(p)), make([]float64, len(p)), make([]float64, len(p)), make([]float64, len(p))
	for steps < most {
		gap = work.step(p, p1)
		steps++
		if gap < wanted || math.IsInf(gap, 1) {
			break
		}
		work.step(p1, p2)
		work.step(p2, next)
		before := work.loglik()
		steps += 2
		if leap(p, p1, p2, ahead) {
			work.step(ahead, p)
			if steps++; work.loglik() >= before {
				continue // p already holds the step from ahead
			}
		}
		copy(p, next)
	}
	work.step(p, p1)
	return p, work.loglik(), gap, steps
}

// leap extrapolates two steps, shortening the way until no mass is negative.
func leap(p, p1, p2, ahead []float64) bool {
	rr, vv := 0.0, 0.0
	for i := range p {
		r := p1[i] - p[i]
		v := p2[i] - p1[i] - r
		rr, vv = rr+r*r, vv+v*v
	}
	if vv == 0 {
		return false
	}
	for alpha := math.Sqrt(rr / vv); alpha > 1.01; alpha = (alpha + 1) / 2 {
		fits := true
		for i := range p {
			r := p1[i] - p[i]
			v := p2[i] - p1[i] - r
			ahead[i] = p[i] + 2*alpha*r + alpha*alpha*v
			if ahead[i] < 0 || ahead[i] == 0 && p2[i] > 0 {
				fits = false
				break
			}
		}
		if fits {
			return true
		}
	}
	return false
}

// climber takes steps of the EM algorithm. Each life covers a run of cells, so
// that sums over runs come from running sums and a step costs lives plus cells.
type climber struct {
	m      masses
	last   int
	hold   float64
	sums   []float64
	weight []float64
}

func newClimber(m masses, last int, hold float64) *climber {
	return &climber{m: m, last: last, hold: hold, sums: make([]float64, len(m.cells)+1), weight: make([]float64, len(m.cells)+1)}
}

// loglik is the log-likelihood of the masses that the last step started from.
func (c *climber) loglik() float64 {
	sum := 0.0
	for _, r := range c.m.rows {
		sum += r.count * math.Log(c.sums[r.to]-c.sums[r.from])
	}
	return sum
}

// step writes to next what follows from p and returns the gap of p, +Inf if
// some life has no mass at all.
func (c *climber) step(p, next []float64) (gap float64) {
	for i, mass := range p {
		c.sums[i+1] = c.sums[i] + mass
	}
	clear(c.weight)
	for _, r := range c.m.rows {
		held := c.sums[r.to] - c.sums[r.from]
		if held <= 0 {
			return math.Inf(1)
		}
		c.weight[r.from] += r.count / held
		c.weight[r.to] -= r.count / held
	}
	weight, below, above := 0.0, 0.0, 0.0
	for i := range p {
		weight += c.weight[i]
		next[i] = p[i] * weight / c.m.total
		if i <= c.last {
			below += next[i]
		} else {
			above += next[i]
		}
	}
	// Without a held sum the multiplier of every cell with mass is 1 at the
	// maximum, and no other exceeds it; with one, that holds on either side.
	low, high := 1.0, 1.0
	if c.last >= 0 {
		low, high = scale(c.hold, below), scale(1-c.hold, above)
	}
	weight = 0
	for i := range p {
		weight += c.weight[i]
		factor := high
		if i <= c.last {
			factor = low
		}
		next[i] *= factor
		gap = max(gap, weight/c.m.total*factor-1)
	}
	return gap
}

func scale(want, have float64) float64 {
	if have <= 0 {
		return 0
	}
	return want / have
}

// little is the share of mass that is spread evenly, so that it can come back to
// a cell that had lost it; more of it only makes the way longer.
const little = 1e-6

// held scales masses so that the cells up to and with last add up to sum.
func held(p []float64, last int, sum float64) []float64 {
	out := slices.Clone(p)
	below, above := 0.0, 0.0
	for i, mass := range p {
		if i <= last {
			below += mass
		} else {
			above += mass
		}
	}
	for i := range out {
		side, want, n := above, 1-sum, len(p)-last-1
		if i <= last {
			side, want, n = below, sum, last+1
		}
		out[i] = (1-little)*p[i]*scale(want, side) + little*want/float64(n)
		if side <= 0 {
			out[i] = want / float64(n)
		}
	}
	return out
}
