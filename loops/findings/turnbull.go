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

	lives Lives
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
	m := newMasses(lives, nil)
	p := make([]float64, len(m.cells))
	for i := range p {
		p[i] = 1 / float64(len(p))
	}
	out := &NPMLE{lives: lives}
	p, out.LogLik, out.Gap, out.Steps = m.climb(p, -1, 0, gapReached, 20000)
	survival := 1.0
	for i, c := range m.cells {
		survival -= p[i]
		if p[i] > gapReached {
			out.Cells = append(out.Cells, Cell{Left: c.Left, Right: c.Right, Mass: p[i], Survival: math.Max(0, survival)})
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

// masses is the problem to solve: each row of lives covers a run of cells.
type masses struct {
	cells  []Cell
	begins []edge // of the cells
	rows   []run
	total  float64
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
// an end, up to that end. No other age can carry mass, but for the edges given:
// where mass is held on either side of an age, an interval across it counts as
// two.
func newMasses(lives Lives, held []edge) masses {
	all := slices.Clone(held)
	for i := range lives.rows {
		from, to := edges(&lives.rows[i])
		all = append(all, from, to)
	}
	slices.SortFunc(all, compareEdges)
	var m masses
	for i := 1; i < len(all); i++ {
		if all[i].phase == ends && all[i-1].phase != ends {
			m.cells = append(m.cells, Cell{Left: all[i-1].age, Right: all[i].age})
			m.begins = append(m.begins, all[i-1])
		}
	}
	for i := range lives.rows {
		first, end := m.covered(&lives.rows[i])
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

// covered is the run of cells from..to-1 in which a row can have ended.
func (m *masses) covered(r *row) (from, to int) {
	begin, end := edges(r)
	from, _ = slices.BinarySearchFunc(m.begins, begin, compareEdges)
	to, _ = slices.BinarySearchFunc(m.cells, end, func(c Cell, t edge) int {
		if c.Right <= t.age {
			return -1
		}
		return 1
	})
	return from, to
}
