// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
)

// Weibull is a fitted Weibull distribution of lives: the share that fails by
// age t is 1 - exp(-(t/Scale)^Shape).
type Weibull struct {
	Shape  float64 // below 1 early failures, 1 chance, above 1 wear-out
	Scale  float64 // age by which 63.2 % have failed
	LogLik float64
	// Covariance of ln Scale and ln(1/Shape), from the second derivatives.
	VarMu, CovMuLogSigma, VarLogSigma float64

	N, Failures int

	likelihood *likelihood
	best       point
}

// FitWeibull fits a Weibull distribution by maximum likelihood to lives of any
// kind, late entry allowed. It returns ErrNoFailures if none failed and
// ErrNoShape if the likelihood has no maximum, as when all failures fell on
// one age or between the same two inspections.
func FitWeibull(lives Lives) (*Weibull, error) { return fitWeibull(lives, Lives{}, 0) }

// fitWeibull also counts more time under watch, in which failures of a share of
// all kinds would have been seen.
func fitWeibull(lives, more Lives, share float64) (*Weibull, error) {
	if lives.Failures() == 0 {
		return nil, ErrNoFailures
	}
	if lives.oneAgeFitsAll() {
		return nil, ErrNoShape
	}
	w := &Weibull{N: lives.N(), Failures: lives.Failures(), likelihood: newLikelihood(lives, more, share)}
	at, p, err := w.likelihood.highest(startPoint(lives))
	if err != nil {
		return nil, err
	}
	w.best, w.LogLik = p, at.value
	w.Shape, w.Scale = math.Exp(-p.logSigma), math.Exp(p.mu)
	det := at.mm*at.ss - at.ms*at.ms
	w.VarMu, w.CovMuLogSigma, w.VarLogSigma = -at.ss/det, at.ms/det, -at.mm/det
	return w, nil
}

// oneAgeFitsAll reports whether some age is possible for every failure and
// reached by every loop still good. A distribution on that age alone, the
// limit of ever larger shapes, then explains the lives as well as any.
func (l Lives) oneAgeFitsAll() bool {
	reached, possible := 0.0, math.Inf(1)
	for _, r := range l.rows {
		reached, possible = math.Max(reached, r.lower), math.Min(possible, r.upper)
	}
	return reached <= possible
}

// startPoint is the exponential distribution with about the right mean.
func startPoint(lives Lives) point {
	exposure := 0.0
	for _, r := range lives.rows {
		end := r.lower
		if r.failed() {
			end = (r.lower + r.upper) / 2
		}
		exposure += float64(r.count) * (end - r.entry)
	}
	return point{mu: math.Log(math.Max(exposure, math.SmallestNonzeroFloat64) / float64(lives.Failures()))}
}

// A shape above e^8 is no wear-out but a calendar. One below e^-4 says that a
// share fails at once and the rest never: its ages of failure span e^170.
const (
	leastLogSigma = -8
	mostLogSigma  = 4
)

// stillToClimb is how far below the top, in twice the log-likelihood, a fit may
// end. A ridge that rises for ever, ever more slowly, leaves more.
const stillToClimb = 1e-8

// highest is the highest top. Where all lives were watched since their fill,
// there is but one (see overSigma); with late entry there may be several, or a
// ridge beside them that rises for ever.
func (l *likelihood) highest(start point) (slopes, point, error) {
	at, p, err := l.maximise(start)
	if !l.late {
		return at, p, err
	}
	ridge := map[float64]point{}
	last := start
	profile := func(logSigma float64) (value, slope, curve float64) {
		mu, top, failed := l.overMu(l.ahead(last, logSigma), logSigma)
		if failed != nil {
			return math.Inf(-1), 0, 0
		}
		last = point{mu, logSigma}
		ridge[logSigma] = last
		return top, 0, 0
	}
	tops := 0
	for x := range hills(leastLogSigma, mostLogSigma, profile) {
		tops++
		other, there, failed := l.maximise(ridge[x])
		if other.value > at.value {
			at, p, err = other, there, failed
		}
	}
	l.several = tops > 1
	return at, p, err
}

// maximise climbs by Newton's method. Where the surface is not curved downward
// or a step does not climb, the step is damped.
func (l *likelihood) maximise(p point) (slopes, point, error) {
	at := l.at(p)
	damping := 0.0
	for range 200 {
		step, ok := newton(at, damping)
		if !ok {
			damping = math.Max(2*damping, 1e-3*(math.Abs(at.mm)+math.Abs(at.ss)))
			continue
		}
		next := point{p.mu + step.mu, p.logSigma + step.logSigma}
		there := l.at(next)
		// Close to the top the value no longer tells up from down.
		if !(there.value >= at.value-1e-12*math.Abs(at.value)) {
			damping = math.Max(4*damping, 1e-3*(math.Abs(at.mm)+math.Abs(at.ss)))
			continue
		}
		p, at, damping = next, there, damping/8
		if damping < 1e-9*math.Abs(at.mm) {
			damping = 0
		}
		if p.logSigma < leastLogSigma || p.logSigma > mostLogSigma || math.Abs(p.mu) > 500 {
			return at, p, ErrNoShape
		}
		if damping == 0 && math.Abs(step.mu) < 1e-11*math.Exp(p.logSigma) && math.Abs(step.logSigma) < 1e-11 {
			break
		}
	}
	det := at.mm*at.ss - at.ms*at.ms
	if !(at.mm < 0 && at.ss < 0 && det > 1e-9*at.mm*at.ss) {
		return at, p, ErrNoShape
	}
	if left := (2*at.ms*at.m*at.s - at.ss*at.m*at.m - at.mm*at.s*at.s) / det; left > stillToClimb {
		return at, p, ErrNoShape
	}
	return at, p, nil
}

// newton is the step to the top of the surface's parabola, shortened to at
// most 1 in either direction; false if the parabola has no top.
func newton(at slopes, damping float64) (point, bool) {
	mm, ss := at.mm-damping, at.ss-damping
	det := mm*ss - at.ms*at.ms
	if !(mm < 0 && det > 1e-14*mm*ss) {
		return point{}, false
	}
	step := point{mu: -(ss*at.m - at.ms*at.s) / det, logSigma: -(mm*at.s - at.ms*at.m) / det}
	if far := math.Max(math.Abs(step.mu), math.Abs(step.logSigma)); far > 1 {
		step.mu, step.logSigma = step.mu/far, step.logSigma/far
	}
	return step, true
}

// Failed is the share that has failed by an age.
func (w *Weibull) Failed(age float64) float64 {
	return -math.Expm1(-math.Pow(age/w.Scale, w.Shape))
}

// Life is the age by which the share p has failed: p = 0.10 gives B10.
func (w *Weibull) Life(p float64) float64 {
	return w.Scale * math.Pow(-math.Log1p(-p), 1/w.Shape)
}

// WearOut is the likelihood-ratio test of Shape = 1, failures by chance: its
// statistic and its p from chi-squared with one degree of freedom.
func (w *Weibull) WearOut() (statistic, p float64) {
	_, top, err := w.likelihood.overMu(w.best.mu, 0)
	if err != nil {
		return math.NaN(), math.NaN()
	}
	statistic = math.Max(0, 2*(w.LogLik-top))
	return statistic, chiSquareTail(statistic, 1)
}

// String is the distribution in words, for a log or a test's message.
func (w *Weibull) String() string {
	return fmt.Sprintf("Weibull, shape %.4g, scale %.4g, %d of %d failed", w.Shape, w.Scale, w.Failures, w.N)
}
