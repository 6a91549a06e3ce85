// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"math"
	"slices"
)

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
	return hazardSlopes(h, z*h, z*z*h, sigma)
}

// hazardSlopes is a cumulative hazard with its derivatives, from it and its
// products with z = (ln age - mu)/sigma and with z squared.
func hazardSlopes(h, zh, zzh, sigma float64) slopes {
	return slopes{value: h, m: -h / sigma, s: -zh, mm: h / (sigma * sigma), ms: (zh + h) / sigma, ss: zzh + zh}
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

// likelihood is the log-likelihood of a Weibull distribution for lives of any
// kind: the hazard gathered while under watch, plus what is known of the end.
type likelihood struct {
	// plain are the ends of all time under watch, each with the hazard up to
	// there; an entry takes its part away again. Of those that failed at a known
	// age, only sums matter besides.
	plain              []plainTerm
	failed, failedLogs float64 // how many, and the sum of the logarithms of their ages
	other              []term  // found failed
	late               bool    // any joined late
	several            bool    // there are several tops, which only late entry makes
}

// plainTerm is an age, as its logarithm, and how many lives ended there, less
// those that joined there.
type plainTerm struct{ logAge, count float64 }

// term is a row that was found failed between two ages, given as logarithms,
// -Inf for age 0.
type term struct {
	lower, upper float64
	count        float64
}

// newLikelihood is the likelihood of lives, and of more time under watch in which
// failures of a share of all kinds would have been seen.
func newLikelihood(lives, more Lives, share float64) *likelihood {
	l := &likelihood{late: lives.lateEntry() || len(more.rows) > 0}
	ages := make([]plainTerm, 0, len(lives.rows)+len(more.rows))
	add := func(age, count float64) {
		if last := len(ages) - 1; last >= 0 && ages[last].logAge == age {
			ages[last].count += count
		} else if age > 0 {
			ages = append(ages, plainTerm{age, count})
		}
	}
	for i := range lives.rows {
		r := &lives.rows[i]
		add(r.lower, float64(r.count))
		switch r.kind() {
		case Exact:
			l.failed += float64(r.count)
			l.failedLogs += float64(r.count) * math.Log(r.lower)
		case Interval, Left:
			l.other = append(l.other, term{lower: math.Log(r.lower), upper: math.Log(r.upper), count: float64(r.count)})
		case Right:
		}
	}
	if l.late {
		for i := range more.rows {
			add(more.rows[i].lower, share*float64(more.rows[i].count))
			add(more.rows[i].entry, -share*float64(more.rows[i].count))
		}
		for i := range lives.rows {
			add(lives.rows[i].entry, -float64(lives.rows[i].count))
		}
		slices.SortFunc(ages, func(a, b plainTerm) int { return cmp.Compare(a.logAge, b.logAge) })
	}
	for _, t := range ages { // ages until here, and each once from here on
		log := math.Log(t.logAge)
		if last := len(l.plain) - 1; last >= 0 && l.plain[last].logAge == log {
			l.plain[last].count += t.count
		} else {
			l.plain = append(l.plain, plainTerm{log, t.count})
		}
	}
	return l
}

// at evaluates the log-likelihood and its derivatives.
func (l *likelihood) at(p point) slopes {
	sigma := math.Exp(p.logSigma)
	var h, zh, zzh float64
	for i := range l.plain {
		t := &l.plain[i]
		z := (t.logAge - p.mu) / sigma
		e := t.count * math.Exp(z)
		h += e
		e *= z
		zh += e
		zzh += z * e
	}
	var sum slopes
	sum.add(-1, hazardSlopes(h, zh, zzh, sigma))
	z := (l.failedLogs - l.failed*p.mu) / sigma // of all failures at a known age
	sum.add(1, slopes{value: z - l.failed*p.logSigma - l.failedLogs, m: -l.failed / sigma, s: -l.failed - z, ms: l.failed / sigma, ss: z})
	for i := range l.other {
		if !l.other[i].addTo(&sum, p, sigma) {
			return slopes{value: math.Inf(-1)}
		}
	}
	return sum
}

// addTo adds the chance that it failed between its ages, of those good before;
// false if that chance is as good as none.
func (t *term) addTo(sum *slopes, p point, sigma float64) bool {
	lower, found := cumulative(t.lower, p, sigma), cumulative(t.upper, p, sigma)
	if math.IsInf(found.value, 1) { // certain, unless it cannot have been good before
		return !math.IsInf(lower.value, 1)
	}
	found.add(-1, lower)
	if gap := (t.upper - t.lower) / sigma; gap < 1 { // without the loss of digits of two near ages
		found.value = lower.value * math.Expm1(gap)
	}
	sum.addFound(t.count, found)
	return true
}
