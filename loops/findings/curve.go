// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"math"
	"slices"
)

// mostLimits is how many ages of a Turnbull curve get limits; each takes two
// searches. A curve with more ages gets them evenly spread.
const mostLimits = 60

// curve fills in the curve and what is read from it.
func (r *Report) curve(lives Lives) {
	if lives.has(Interval) || lives.has(Left) {
		r.turnbull(lives)
		return
	}
	c, err := KaplanMeier(lives)
	if err != nil {
		r.refuse("km", err.Error()+".")
		return
	}
	r.Start, r.KM = c.Start, make([]Point, 0, len(c.Steps))
	for _, s := range c.Steps {
		r.KM = append(r.KM, Point{Age: s.Age, Survival: s.Survival, Lower: Number(s.Lower), Upper: Number(s.Upper), AtRisk: s.AtRisk,
			Failures: s.Failures, From: Number(s.Age), Few: s.Few})
	}
	if c.Start > 0 {
		r.refuse("early ages", "fewer than five loops were under watch up to age "+short(c.Start)+
			", so the curve tells of those that were good then. Missing: loops watched since their fill.")
	}
	m := c.Median()
	r.Median, r.MedianLower, r.MedianUpper = Number(m.Value), Number(m.Lower), Number(m.Upper)
	if until := c.ReadTo(); until > 0 {
		mean, se := c.RestrictedMean(until)
		r.RestrictedMean = &MeanReport{Until: until, Estimate: Number(mean), SE: Number(se)}
	}
	r.curveAnswer(r.KM)
	r.medianAnswer(lives)
}

// turnbull fills in the curve where failures lie between inspections.
func (r *Report) turnbull(lives Lives) {
	e, err := Turnbull(lives)
	if err != nil { // there are failures, so it is the late entry
		r.refuse("turnbull", "some failures lie between two inspections and some loops joined late; no curve is drawn from both at once. "+
			"The Weibull distribution takes both into account.")
		return
	}
	gap := Number(e.Gap)
	r.Gap = &gap
	var drawn []Cell
	for _, c := range e.Cells {
		if !math.IsInf(c.Right, 1) {
			drawn = append(drawn, c)
		}
	}
	stride := (len(drawn) + mostLimits - 1) / mostLimits
	watched := lives.Watched()
	for i, c := range drawn {
		p := Point{Age: c.Right, Survival: c.Survival, Lower: unknown(), Upper: unknown(), From: Number(c.Left), AtRisk: watched(c.Left)}
		p.Few = p.AtRisk < FewAtRisk
		if stride == 1 || i%stride == stride-1 || i == len(drawn)-1 {
			lower, upper := e.Limits(c.Right, 0.95)
			p.Lower, p.Upper = Number(lower), Number(upper)
		}
		r.Turnbull = append(r.Turnbull, p)
	}
	fallWithAge(r.Turnbull)
	if stride > 1 {
		r.refuse("limits", "limits are given at "+short(float64((len(drawn)+stride-1)/stride))+" of "+short(float64(len(drawn)))+" ages; those between lie between them.")
	}
	if c, ok := e.Quantile(0.5); ok {
		r.Median = Number(c.Right)
	}
	r.MedianLower, r.MedianUpper = e.medianLimits()
	r.curveAnswer(r.Turnbull)
	r.medianAnswer(lives)
}

// fallWithAge widens limits where one at a younger age says more than one at an
// older age does, as survival only falls.
func fallWithAge(points []Point) {
	least, most := Number(1), Number(0)
	for i := range points {
		if p := &points[i]; p.Lower.Known() {
			p.Lower = min(p.Lower, least)
			least = p.Lower
		}
		if p := &points[len(points)-1-i]; p.Upper.Known() {
			p.Upper = max(p.Upper, most)
			most = p.Upper
		}
	}
}

// Watched returns a function that tells how many loops were under watch and
// not known to have failed just before an age.
func (l Lives) Watched() func(age float64) int {
	var left, joined counter
	for i := range l.rows {
		if r := &l.rows[i]; r.watched() {
			left = append(left, counted{r.lower, r.count})
			joined = append(joined, counted{r.entry, r.count})
		}
	}
	left.sum()
	joined.sum()
	return func(age float64) int {
		if age == 0 {
			return joined.below(math.SmallestNonzeroFloat64)
		}
		return joined.below(age) - left.below(age)
	}
}

// counted is a number of loops at an age; counter, once summed, tells how many
// are below one.
type (
	counted struct {
		age float64
		n   int
	}
	counter []counted
)

func (c counter) sum() {
	slices.SortFunc(c, func(a, b counted) int { return cmp.Compare(a.age, b.age) })
	for i := 1; i < len(c); i++ {
		c[i].n += c[i-1].n
	}
}

func (c counter) below(age float64) int {
	i, _ := slices.BinarySearchFunc(c, age, func(e counted, age float64) int { return cmp.Compare(e.age, age) })
	if i == 0 {
		return 0
	}
	return c[i-1].n
}
