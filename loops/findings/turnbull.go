// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"math"
	"slices"
)

// gapReached is the largest gap at which the iteration stops.
const gapReached = 1e-9

// coarse is the precision of the limits: a ten-thousandth of their distance
// from the estimate, for each takes the iteration several times.
const coarse = 1e-4

// Cell is a span of ages in which some failures lie, nobody knows where.
type Cell struct {
	// Left and Right bound the cell: above Left, up to and with Right. They
	// are equal for failures at a known age. Right is +Inf for the share that
	// had not failed when last inspected.
	Left, Right float64
	Mass        float64 // share of the lives that end here
	Survival    float64 // share still good after Right
}

// NPMLE is the non-parametric maximum likelihood estimate of survival from
// lives of any kind.
type NPMLE struct {
	Cells  []Cell // rising, those without mass left out
	LogLik float64
	// Gap tells how far the estimate is from the maximum: the most by which
	// the log-likelihood per life could still rise is below it.
	Gap   float64
	Steps int // of the iteration

	problem masses
	p       []float64
}

// Turnbull estimates survival after Turnbull (1976) where some failures are
// only known to lie between two inspections. It iterates Turnbull's
// self-consistency, which is the EM algorithm, with the acceleration of
// Varadhan and Roland (2008), until the gap of the Karush-Kuhn-Tucker
// conditions is below 1e-9. It returns ErrLateEntry if loops joined late and
// ErrNoFailures if none failed.
func Turnbull(lives Lives) (*NPMLE, error) {
	if lives.lateEntry() {
		return nil, ErrLateEntry
	}
	if lives.Failures() == 0 {
		return nil, ErrNoFailures
	}
	m := newMasses(lives)
	p := make([]float64, len(m.cells))
	for i := range p {
		p[i] = 1 / float64(len(p))
	}
	out := &NPMLE{problem: m}
	out.p, out.LogLik, out.Gap, out.Steps = m.climb(p, -1, 0, gapReached, 20000)
	survival := 1.0
	for i, c := range m.cells {
		survival -= out.p[i]
		if out.p[i] > gapReached {
			out.Cells = append(out.Cells, Cell{Left: c.Left, Right: c.Right, Mass: out.p[i], Survival: math.Max(0, survival)})
		}
	}
	return out, nil
}

// Quantile is the cell in which the share p of the lives has failed, and false
// if so many have not.
func (e *NPMLE) Quantile(p float64) (Cell, bool) {
	for _, c := range e.Cells {
		if c.Survival <= 1-p+halfway && !math.IsInf(c.Right, 1) {
			return c, true
		}
	}
	return Cell{}, false
}

// Limits are the limits of survival after the cell: all values at which the
// likelihood-ratio test with one degree of freedom keeps them at the level.
// That is exact in large samples where inspections come at few ages, and wide
// where they come at any age (Banerjee and Wellner 2001).
func (e *NPMLE) Limits(c Cell, level float64) (lower, upper float64) {
	m := e.problem
	last := slices.IndexFunc(m.cells, func(o Cell) bool { return o.Left == c.Left && o.Right == c.Right })
	switch {
	case last < 0 || math.IsInf(c.Right, 1):
		return 0, 1
	case last == len(m.cells)-1:
		// None was left. A share beyond would have taken from all masses alike.
		return 0, -math.Expm1(-chiSquareOne(level) / (2 * m.total))
	}
	failed := 0.0
	for _, p := range e.p[:last+1] {
		failed += p
	}
	failed = math.Min(1, math.Max(0, failed))
	start := slices.Clone(e.p)
	// A gap moves the deviance by twice the number of lives times it at most.
	loose := math.Min(1e-5, math.Max(1e-7, 1e-3/m.total))
	deviance := func(f float64) float64 {
		p, loglik, _, _ := m.climb(held(start, last, f), last, f, loose, 3000)
		if math.IsInf(loglik, -1) || math.IsNaN(loglik) {
			return math.Inf(1)
		}
		start = p
		return 2 * (e.LogLik - loglik)
	}
	step := math.Sqrt(failed*(1-failed)/m.total) + 0.5/m.total
	target := chiSquareOne(level)
	upper = 1 - crossing(failed, 0, -step, target, coarse, deviance)
	copy(start, e.p)
	lower = 1 - crossing(failed, 1, step, target, coarse, deviance)
	return lower, upper
}

// masses is the problem to solve: each row of lives covers a run of cells.
type masses struct {
	cells []Cell
	rows  []run
	total float64
}

// run is a number of lives that end in one of the cells from..to-1.
type run struct {
	from, to int
	count    float64
}

// edge is an end of an interval of ages. At one age, a known failure begins,
// then intervals end, then those begin which leave their lower end out.
type edge struct {
	age   float64
	phase int
}

const (
	beginsAt = iota
	ends
	beginsAfter
)

func compareEdges(a, b edge) int {
	return cmp.Or(cmp.Compare(a.age, b.age), cmp.Compare(a.phase, b.phase))
}

func edges(l *row) (from, to edge) {
	from = edge{l.lower, beginsAfter}
	if l.kind() == Exact {
		from.phase = beginsAt
	}
	return from, edge{l.upper, ends}
}

// newMasses finds the cells: from each beginning that is directly followed by
// an end, up to that end. No other age can carry mass.
func newMasses(lives Lives) masses {
	var all []edge
	for i := range lives.rows {
		from, to := edges(&lives.rows[i])
		all = append(all, from, to)
	}
	slices.SortFunc(all, compareEdges)
	var m masses
	var begins []edge
	for i := 1; i < len(all); i++ {
		if all[i].phase == ends && all[i-1].phase != ends {
			m.cells = append(m.cells, Cell{Left: all[i-1].age, Right: all[i].age})
			begins = append(begins, all[i-1])
		}
	}
	for i := range lives.rows {
		from, to := edges(&lives.rows[i])
		first, _ := slices.BinarySearchFunc(begins, from, compareEdges)
		end, _ := slices.BinarySearchFunc(m.cells, to, func(c Cell, t edge) int {
			if c.Right <= t.age {
				return -1
			}
			return 1
		})
		count := float64(lives.rows[i].count)
		m.total += count
		if last := len(m.rows) - 1; last >= 0 && m.rows[last].from == first && m.rows[last].to == end {
			m.rows[last].count += count
			continue
		}
		m.rows = append(m.rows, run{first, end, count})
	}
	return m
}
