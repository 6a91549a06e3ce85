// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"errors"
	"math"
	"slices"
)

// ErrNoContrast is returned by a comparison in which nothing can differ: at no
// age of a failure were loops of both sides under watch.
var ErrNoContrast = errors.New("at no age of a failure were loops of both sides under watch")

// Side is one of the two sides of a comparison.
type Side struct {
	N        int `json:"n"`
	Failures int `json:"failures"`
	// Expected is how many of all failures would have been of this side if both
	// failed alike at the same age.
	Expected   float64 `json:"expected"`
	UnderWatch float64 `json:"under_watch"` // in the unit of the ages: loop-months in the register
}

// HazardRatio is how many times as often loops of one side fail as those of the
// other at the same age.
type HazardRatio struct {
	With, Without Side
	// Estimate is the maximum of the likelihood; 0 or +Inf where one side had no
	// failure. Lower and Upper are exact central limits at 95 %.
	Estimate, Lower, Upper float64
	// P is twice the smaller of the exact tails, at most 1. It is below 0.05 if
	// and only if 1 is outside of the limits.
	P float64
	// Least is the smallest P that the same failures could have, by where between
	// the looks they fell, which nobody knows. It is P where every age is known.
	Least float64
	// Attainable is the smallest P that as many failures at the same ages could
	// have had. Where it is not below 0.05 no result could have been significant.
	Attainable float64
}

// Compare sets the lives of a group against all others, within each stratum,
// such as a fluid, and adds up.
//
// Each failure is a draw from the loops then under watch: if both sides fail
// alike at the same age, it is of the group with the chance of the group's share
// of these loops; with the ratio r, that share counts r times. The product over
// all failures is Cox's likelihood (1972), and the number of the group's
// failures has an exact distribution, a sum of such draws. So it does not matter
// that one side was watched for longer, or joined late.
//
// Of a failure between two looks the share at its age is not known. The estimate
// takes the mean over the ages at which it can lie, by the curve of all lives of
// the stratum together (Finkelstein 1986). That curve does not say where between
// the looks the failures fell, and if looks or entries differ between the sides
// no curve does: the limits and P hold however failures fell there, from many at
// its beginning to many at its end. Where both sides are watched alike, and late
// in life, that hardly moves the shares.
//
// Lives of a stratum in which nothing can differ, such as one without a failure,
// do not count on either side. It returns ErrNoFailures, or ErrNoContrast with
// the sides of all lives.
func Compare(strata []Lives, group string) (HazardRatio, error) {
	var all, out HazardRatio
	var told draws
	for _, l := range strata {
		in := func(r *row) bool { return l.groups[r.group] == group }
		var one HazardRatio
		one.count(l, in)
		all.With.plus(one.With)
		all.Without.plus(one.Without)
		if d := drawsOf(l, in); d.differ() {
			out.With.plus(one.With)
			out.Without.plus(one.Without)
			told = append(told, d...)
		}
	}
	switch {
	case all.With.Failures+all.Without.Failures == 0:
		return all, ErrNoFailures
	case len(told) == 0:
		return all, ErrNoContrast
	}
	for _, d := range told {
		out.With.Expected += float64(d.count) * d.share
	}
	out.Without.Expected = float64(out.With.Failures+out.Without.Failures) - out.With.Expected
	likely := told.distribution()
	few, many := likely, likely
	if slices.ContainsFunc(told, func(d draw) bool { return d.low < d.high }) {
		few, many = told.fewest().distribution(), told.most().distribution()
	}
	out.ratio(few, likely, many, out.With.Failures)
	return out, nil
}

// count counts the lives of a stratum on their sides.
func (h *HazardRatio) count(l Lives, in func(*row) bool) {
	for i := range l.rows {
		if r := &l.rows[i]; in(r) {
			h.With.add(r)
		} else {
			h.Without.add(r)
		}
	}
}

func (s *Side) plus(o Side) {
	s.N += o.N
	s.Failures += o.Failures
	s.UnderWatch += o.UnderWatch
}

func (s *Side) add(r *row) {
	s.N += r.count
	s.UnderWatch += float64(r.count) * (r.lower - r.entry)
	if r.failed() {
		s.Failures += r.count
	}
}

// draw is a number of failures, each of them of the group with the chance share.
// Where the age is not known, share is the likeliest and low and high are the
// least and the greatest at the ages at which they can lie.
type draw struct {
	low, share, high float64
	count            int
}

type draws []draw

// differ reports whether any draw can fall to either side.
func (d draws) differ() bool {
	first, last := d.ends()
	return first < last
}

// fewest and most are the draws with the failures at the ages that leave the
// group the fewest and the most.
func (d draws) fewest() draws { return d.with(func(x draw) float64 { return x.low }) }
func (d draws) most() draws   { return d.with(func(x draw) float64 { return x.high }) }

func (d draws) with(share func(draw) float64) draws {
	out := make(draws, len(d))
	for i, x := range d {
		out[i] = draw{share: share(x), count: x.count}
	}
	return out
}

// drawsOf returns the failures of a stratum.
func drawsOf(l Lives, in func(*row) bool) draws {
	if !l.has(Interval) && !l.has(Left) {
		return exactDraws(l, in)
	}
	h := newHazard(l)
	h.settle()
	shares := h.shares(in)
	theirs := make([]float64, len(h.cells)+1) // the mass from a cell on that is the group's
	for c, mass := range slices.Backward(h.mass) {
		theirs[c] = theirs[c+1]
		if mass > 0 {
			theirs[c] += shares[c] * mass
		}
	}
	var out draws
	for i := range h.failed {
		f := &h.failed[i]
		share := (theirs[f.from] - theirs[f.to]) / (h.left[f.from] - h.left[f.to])
		d := draw{low: share, share: share, high: share, count: f.count}
		for _, shape := range fallShapes() {
			if s := h.fallen(shares, f, shape); !math.IsNaN(s) {
				d.low, d.high = min(d.low, s), max(d.high, s)
			}
		}
		out = append(out, d)
	}
	return out
}

// fallShapes are how failures may fall between two looks: as a power of the age,
// from much more often at its beginning to much more often at its end. Weibull
// shapes from about 0.6 to 4 lie between, also over long spans (own rule).
func fallShapes() []float64 { return []float64{1.0 / 3, 1, 4} }

// fallen is the mean of the shares over the ages at which a failure can lie, if
// failures fall as those of a Weibull shape of small risk; NaN if nobody is
// known to be at risk.
func (h *hazard) fallen(shares []float64, f *failure, shape float64) float64 {
	age, sum, weights := f.row.lower, 0.0, 0.0
	for c := f.from; c < f.to; c++ {
		from := age
		age = h.cells[c].Right
		if math.IsNaN(shares[c]) {
			continue
		}
		w := math.Pow(age/f.row.upper, shape) - math.Pow(from/f.row.upper, shape)
		sum, weights = sum+w*shares[c], weights+w
	}
	return sum / weights
}

// exactDraws returns the failures of a stratum in which each has a known age, so
// that those at risk are counted and not estimated.
func exactDraws(l Lives, in func(*row) bool) draws {
	var out draws
	theirs := 0
	for at := range l.risks(0) {
		theirs += countOf(at.joined, in)
		if at.failures > 0 {
			share := float64(theirs) / float64(at.atRisk)
			out = append(out, draw{share, share, share, at.failures})
		}
		theirs -= countOf(at.ended, in)
	}
	return out
}

// countOf counts those of the lives that were watched and fit.
func countOf(rows []row, fits func(*row) bool) int {
	n := 0
	for i := range rows {
		if r := &rows[i]; r.watched() && fits(r) {
			n += r.count
		}
	}
	return n
}

// hazard is the share of those at risk that fails in each cell of a stratum,
// both sides together, estimated by EM as Turnbull does it, but given each
// life's age of entry (Frydman 1994). There is a cell
// between any two ages named, so that within none of them does it change who is
// under watch; most have no mass.
type hazard struct {
	cells  []Cell
	rate   []float64
	mass   []float64 // that fails in a cell, of those good at the start
	holds  []bool    // whether a cell can have mass
	left   []float64 // the mass from a cell on, added from the end, where it is least: so small differences are not lost
	failed []failure
	stays  []stay
}

// stay is a row that was under watch throughout the cells first..last-1.
type stay struct {
	row         *row
	first, last int
}

// failure is a row that failed in one of the cells from..to-1.
type failure struct {
	row      *row
	from, to int
	count    int
}

func newHazard(l Lives) *hazard {
	var entries, ages []edge
	for i := range l.rows {
		r := &l.rows[i]
		if r.entry > 0 {
			entries = append(entries, edge{r.entry, ends})
		}
		for _, age := range []float64{r.entry, r.lower, r.upper} {
			ages = append(ages, edge{age, ends}, edge{age, beginsAfter})
		}
	}
	narrow := map[Cell]bool{}
	for _, c := range newMasses(l, entries).cells {
		narrow[c] = true
	}
	m := newMasses(l, ages)
	h := &hazard{}
	for _, c := range m.cells {
		if !math.IsInf(c.Right, 1) {
			h.cells = append(h.cells, c)
			h.holds = append(h.holds, narrow[c])
		}
	}
	h.rate, h.mass, h.left = make([]float64, len(h.cells)), make([]float64, len(h.cells)), make([]float64, len(h.cells)+1)
	for i := range l.rows {
		r := &l.rows[i]
		if r.watched() {
			h.stays = append(h.stays, stay{r, h.joined(r), h.before(r)})
		}
		if r.failed() {
			from, to := m.covered(r)
			h.failed = append(h.failed, failure{r, from, to, r.count})
		}
	}
	return h
}

// settled is how near the rates of two steps of the iteration must be.
const settled = 1e-7

// settle iterates until the rates stand.
func (h *hazard) settle() {
	later := 1.0
	for c, holds := range slices.Backward(h.holds) { // an even curve to start from
		if holds {
			later++
			h.rate[c] = 1 / later
		}
	}
	for range 2000 {
		h.refresh()
		atRisk := h.atRisk(func(*row) bool { return true })
		moved := 0.0
		for c, failed := range h.failures() {
			next := 0.0
			if atRisk[c] > 0 {
				next = min(1, failed/atRisk[c])
			}
			moved = max(moved, math.Abs(next-h.rate[c]))
			h.rate[c] = next
		}
		if moved < settled {
			break
		}
	}
	h.refresh()
}

// refresh works out the masses from the rates. One that takes all is left a
// little, so that those known good later, who joined later, have a curve.
func (h *hazard) refresh() {
	good := 1.0
	for c, rate := range h.rate {
		rate = min(rate, 1-1e-9)
		h.mass[c] = good * rate
		good *= 1 - rate
	}
	for c, mass := range slices.Backward(h.mass) {
		h.left[c] = h.left[c+1] + mass
	}
}

// failures are how many failed in each cell, as far as is known.
func (h *hazard) failures() []float64 {
	out, change := make([]float64, len(h.cells)), make([]float64, len(h.cells)+1)
	for i := range h.failed {
		f := &h.failed[i]
		w := h.weight(f)
		change[f.from] += w
		change[f.to] -= w
	}
	sum := 0.0
	for c := range out {
		sum += change[c]
		out[c] = h.mass[c] * sum
	}
	return out
}

func (h *hazard) weight(f *failure) float64 {
	return float64(f.count) / max(h.left[f.from]-h.left[f.to], math.SmallestNonzeroFloat64)
}

// atRisk is how many of some lives were good and under watch in each cell.
func (h *hazard) atRisk(in func(*row) bool) []float64 {
	out := make([]float64, len(h.cells))
	n := len(h.cells)
	whole, run, tail := make([]float64, n+1), make([]float64, n+1), make([]float64, n+1)
	for i := range h.stays {
		s := &h.stays[i]
		if !in(s.row) {
			continue
		}
		if s.first < s.last {
			whole[s.first] += float64(s.row.count)
			whole[s.last] -= float64(s.row.count)
		}
	}
	for i := range h.failed {
		f := &h.failed[i]
		if !in(f.row) {
			continue
		}
		w := h.weight(f)
		run[f.from] += w * h.left[f.to]
		run[f.to] -= w * h.left[f.to]
		tail[f.from] += w
		tail[f.to] -= w
	}
	var a, b, c float64
	for i := range out {
		a, b, c = a+whole[i], b+run[i], c+tail[i]
		out[i] += a + max(0, c*h.left[i]-b)
	}
	return out
}

// joined is the first cell in which the row was at risk.
func (h *hazard) joined(r *row) int {
	first, _ := slices.BinarySearchFunc(h.cells, r.entry, func(c Cell, entry float64) int {
		if c.Left < entry || c.Left == c.Right && c.Left <= entry {
			return -1
		}
		return 1
	})
	return first
}

// before is how many cells the row was known to be good in.
func (h *hazard) before(r *row) int {
	n, _ := slices.BinarySearchFunc(h.cells, r.lower, func(c Cell, lower float64) int {
		if c.Right < lower || c.Right == lower && (c.Left < c.Right || r.kind() != Exact) {
			return -1
		}
		return 1
	})
	return n
}

// shares is the group's share of those at risk in each cell, NaN where nobody
// was.
func (h *hazard) shares(in func(*row) bool) []float64 {
	out, all := h.atRisk(in), h.atRisk(func(*row) bool { return true })
	for c := range out {
		if all[c] < settled {
			out[c] = math.NaN()
			continue
		}
		out[c] = min(1, out[c]/all[c])
	}
	return out
}
