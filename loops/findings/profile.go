// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"iter"
	"math"
)

// endless is how far, in logarithms, a profile is followed before its limit
// is given up: a factor of e^30 says nothing any more. Ages of a shape below 1
// lie apart as its inverse, and so does what is too far.
const endless = 30

// farthestMu is how far from 0 mu/sigma may go.
const farthestMu = 1e6

// sharp is the precision of a profile limit.
const sharp = 1e-13

// ShapeLimits are the likelihood-ratio limits of Shape: all values that the
// test with one degree of freedom keeps at the level. A limit that the data
// do not set is 0 or +Inf.
func (w *Weibull) ShapeLimits(level float64) Estimate {
	best, target, step := w.best.logSigma, chiSquareOne(level), 2*math.Sqrt(w.VarLogSigma)
	last := w.best
	deviance := func(logSigma float64) float64 {
		mu, top, err := w.likelihood.overMu(w.likelihood.ahead(last, logSigma), logSigma)
		if err != nil {
			return math.Inf(1)
		}
		fall := 2 * (w.LogLik - top)
		if fall < target { // too far out a search ends anywhere, and begins badly there
			last = point{mu, logSigma}
		}
		return fall
	}
	low := crossing(best, leastLogSigma, -step, target, sharp, deviance)
	last = w.best
	high := crossing(best, mostLogSigma, step, target, sharp, deviance)
	return Estimate{Value: w.Shape, Lower: given(math.Exp(-high), high == mostLogSigma, 0), Upper: given(math.Exp(-low), low == leastLogSigma, math.Inf(1))}
}

// LifeLimits are the likelihood-ratio limits of Life(p), two-sided at level.
func (w *Weibull) LifeLimits(p, level float64) Estimate {
	target := chiSquareOne(level)
	return Estimate{Value: w.Life(p), Lower: w.lifeLimit(p, target, -1), Upper: w.lifeLimit(p, target, 1)}
}

// LowerLife is a one-sided lower bound of Life(p): with the level given, at
// least the share 1-p is still good at that age. The likelihood ratio is
// compared with t^2 of one degree of freedom less than there are failures
// instead of chi-squared, which keeps the level down to five failures (see
// doc/findings.md). Below two failures there is none and it returns NaN.
func (w *Weibull) LowerLife(p, level float64) float64 {
	if w.Failures < 2 {
		return math.NaN()
	}
	t := tQuantile(level, w.Failures-1)
	return w.lifeLimit(p, t*t, -1)
}

// lifeLimit follows the profile of the age at which the share p has failed,
// downward or upward.
func (w *Weibull) lifeLimit(p, target, direction float64) float64 {
	hazard := -math.Log1p(-p)
	best := math.Log(w.Life(p))
	logSigma := w.best.logSigma
	deviance := func(logAge float64) float64 {
		at, top, err := w.likelihood.overSigma(bend{logAge, math.Log(hazard)}, logSigma)
		if err != nil {
			return math.Inf(1)
		}
		fall := 2 * (w.LogLik - top)
		if fall < target && at > leastLogSigma && at < mostLogSigma { // as for the shape
			logSigma = at
		}
		return fall
	}
	c := math.Log(hazard) / w.Shape
	step := 2 * math.Sqrt(w.VarMu+2*c*w.CovMuLogSigma+c*c*w.VarLogSigma)
	bound := best + direction*endless*math.Max(1, 1/w.Shape)
	found := crossing(best, bound, direction*step, target, sharp, deviance)
	if w.likelihood.several { // there may be a second region, and a bound is of all
		found = beyond(found, bound, direction*step/4, target, deviance)
	}
	switch {
	case found != bound:
		return math.Exp(found)
	case direction > 0:
		return math.Inf(1)
	default:
		return 0
	}
}

// beyond looks past a crossing for places where the deviance is below the
// target again, and returns the crossing after the last of them.
func beyond(found, bound, step, target float64, deviance func(float64) float64) float64 {
	last := found
	for k := range 40 {
		x := found + float64(k+1)*step
		if (x-bound)*step >= 0 {
			break
		}
		if deviance(x) < target {
			last = x
		}
	}
	if last == found {
		return found
	}
	return crossing(last, bound, step, target, sharp, deviance)
}

// given returns the value unless it was given up.
func given(value float64, givenUp bool, otherwise float64) float64 {
	if givenUp {
		return otherwise
	}
	return value
}

// ahead is about where mu is highest at a logSigma, from a point where it is.
// It follows the ridge as a straight line in sigma, which it nearly is.
func (l *likelihood) ahead(from point, logSigma float64) (mu float64) {
	at := l.at(from)
	if !(at.mm < 0) {
		return from.mu
	}
	return from.mu - at.ms/at.mm*math.Expm1(logSigma-from.logSigma)
}

// overMu maximises over mu alone: the profile of sigma. It climbs in mu/sigma,
// in which the way from one sigma to another is short.
func (l *likelihood) overMu(mu, logSigma float64) (at, top float64, err error) {
	sigma := math.Exp(logSigma)
	at, top, err = climbLine(mu/sigma, -farthestMu, farthestMu, func(x float64) (value, slope, curve float64) {
		s := l.at(point{sigma * x, logSigma})
		return s.value, s.m * sigma, s.mm * sigma * sigma
	})
	return sigma * at, top, err
}

// bend is the line of all distributions with a given cumulative hazard by an
// age, both as logarithms.
type bend struct {
	logAge, logHazard float64
}

// mu is where the line is at sigma, with its first two derivatives by ln sigma.
func (b bend) mu(sigma float64) (mu, slope, curve float64) {
	return b.logAge - sigma*b.logHazard, -sigma * b.logHazard, -sigma * b.logHazard
}

// overSigma maximises over sigma along a bend: the profile of an age.
//
// In 1/sigma and mu/sigma the likelihood of lives watched since their fill is
// concave and the bend straight, so that the first top found is the only one.
// Late entry can make several.
func (l *likelihood) overSigma(b bend, logSigma float64) (at, top float64, err error) {
	along := func(x float64) (value, slope, curve float64) {
		mu, d1, d2 := b.mu(math.Exp(x))
		s := l.at(point{mu, x})
		return s.value, s.m*d1 + s.s, s.mm*d1*d1 + 2*s.ms*d1 + s.ss + s.m*d2
	}
	at, top, err = climbLine(logSigma, leastLogSigma, mostLogSigma, along)
	if !l.several {
		return at, top, err
	}
	for x := range hills(leastLogSigma, mostLogSigma, along) {
		if other, value, failed := climbLine(x, leastLogSigma, mostLogSigma, along); failed == nil && (err != nil || value > top) {
			at, top, err = other, value, nil
		}
	}
	return at, top, err
}

// hills are places between low and high from which to climb to every top of a
// function that is wider than half a unit.
func hills(low, high float64, f func(float64) (value, slope, curve float64)) iter.Seq[float64] {
	return func(yield func(float64) bool) {
		const apart = 0.5
		before, here := math.Inf(-1), math.Inf(-1)
		for x := high; x >= low-apart; x -= apart {
			next := math.Inf(-1)
			if x >= low {
				next, _, _ = f(x)
			}
			if here > before && here >= next && !yield(x+apart) {
				return
			}
			before, here = here, next
		}
	}
}

// climbLine maximises a function of one variable between low and high by
// Newton's method, with halved steps where it does not climb.
func climbLine(x, low, high float64, f func(float64) (value, slope, curve float64)) (at, top float64, err error) {
	value, slope, curve := f(x)
	for range 100 {
		step := -slope / curve
		if !(curve < 0) || math.Abs(step) > 1 {
			step = math.Copysign(math.Min(1, math.Abs(step)), slope)
		}
		if math.IsNaN(step) {
			return x, value, ErrNoShape
		}
		step = math.Min(math.Max(step, low-x), high-x)
		moved := false
		for range 40 {
			v, s, c := f(x + step)
			if v >= value-1e-13*math.Abs(value) {
				x, value, slope, curve, moved = x+step, v, s, c, true
				break
			}
			step /= 2
		}
		if !moved || math.Abs(step) < 1e-9*(1+math.Abs(x)) {
			break
		}
	}
	return x, value, nil
}
