// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// point is a Weibull distribution as the fit sees it: ln T = mu + sigma W with
// W the smallest extreme value, sigma = exp(logSigma).
type point struct {
	mu, logSigma float64
}

// slopes are a value and its derivatives by mu (m) and logSigma (s).
type slopes struct {
	value            float64
	m, s, mm, ms, ss float64
}

// cumulative is the cumulative hazard at an age, whose logarithm is given.
func cumulative(logAge float64, at point, sigma float64) slopes {
	z := (logAge - at.mu) / sigma
	h := math.Exp(z)
	if h == 0 { // age 0, or as good as
		return slopes{}
	}
	zh := z * h
	return slopes{value: h, m: -h / sigma, s: -zh, mm: h / (sigma * sigma), ms: (zh + h) / sigma, ss: z*zh + zh}
}

// add adds weight times o.
func (a *slopes) add(weight float64, o slopes) {
	a.value += weight * o.value
	a.m += weight * o.m
	a.s += weight * o.s
	a.mm += weight * o.mm
	a.ms += weight * o.ms
	a.ss += weight * o.ss
}

// addFound adds weight times ln(1 - exp(-d)): found failed, where d is the
// cumulative hazard since it was last known good.
func (a *slopes) addFound(weight float64, d slopes) {
	e := math.Expm1(d.value)
	g := weight / e
	gg := -g * (1 + 1/e)
	if math.IsInf(e, 1) {
		g, gg = 0, 0
	}
	a.value += weight * math.Log(-math.Expm1(-d.value))
	a.m += g * d.m
	a.s += g * d.s
	a.mm += g*d.mm + gg*d.m*d.m
	a.ms += g*d.ms + gg*d.m*d.s
	a.ss += g*d.ss + gg*d.s*d.s
}

// term is one row of the likelihood, its ages as logarithms.
type term struct {
	lower, upper, entry float64 // -Inf for age 0
	count               float64
	kind                Kind
}

// likelihood is the log-likelihood of a Weibull distribution for lives of any
// kind: the hazard gathered while under watch, plus what is known of the end.
type likelihood []term

func newLikelihood(lives Lives) likelihood {
	out := make(likelihood, len(lives.rows))
	for i := range lives.rows {
		r := &lives.rows[i]
		out[i] = term{lower: math.Log(r.Lower), upper: math.Log(r.Upper), entry: math.Log(r.Entry), count: float64(r.Count), kind: r.Kind()}
	}
	return out
}

// at evaluates the log-likelihood and its derivatives.
func (l likelihood) at(p point) slopes {
	sigma := math.Exp(p.logSigma)
	var sum slopes
	for i := range l {
		t := &l[i]
		lower := cumulative(t.lower, p, sigma)
		sum.add(-t.count, lower)
		if !math.IsInf(t.entry, -1) {
			sum.add(t.count, cumulative(t.entry, p, sigma))
		}
		switch t.kind {
		case Exact:
			z := (t.lower - p.mu) / sigma
			sum.add(t.count, slopes{value: z - p.logSigma - t.lower, m: -1 / sigma, s: -1 - z, ms: 1 / sigma, ss: z})
		case Interval, Left:
			found := cumulative(t.upper, p, sigma)
			gone := found.value
			found.add(-1, lower)
			if lower.value > 0 { // without the loss of digits of two near ages
				found.value = lower.value * math.Expm1((t.upper-t.lower)/sigma)
			}
			if math.IsInf(gone, 1) {
				return slopes{value: math.Inf(-1)}
			}
			sum.addFound(t.count, found)
		case Right:
		}
	}
	return sum
}
