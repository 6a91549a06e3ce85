// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"math"
)

// GroupCount is what one group showed against what was to be expected if all
// groups were alike.
type GroupCount struct {
	Group              string
	N                  int
	Observed, Expected float64
}

// Ranks is the answer of a log-rank test.
type Ranks struct {
	Groups    []GroupCount
	ChiSquare float64
	DF        int
	P         float64 // from chi-squared, which in small groups finds differences too often
}

// LogRank compares the groups of the lives after Mantel (1966) and Peto and Peto
// (1972). At least two groups and one failure are needed, and ages at failure
// must be known: else it returns an error, ErrNoFailures or ErrIntervals. It is
// there to compare with other programs; [Compare] is exact and takes every life.
func LogRank(lives Lives) (*Ranks, error) {
	if lives.has(Interval) || lives.has(Left) {
		return nil, ErrIntervals
	}
	if len(lives.groups) < 2 {
		return nil, fmt.Errorf("findings: %d group on record; two are needed to compare", len(lives.groups))
	}
	t := newTally(lives.groups)
	t.add(lives)
	return t.compare()
}

// tally sums observed and expected failures and the variance of their
// difference over ages.
type tally struct {
	groups             []string
	n                  []int
	observed, expected []float64
	variance           [][]float64
}

func newTally(groups []string) *tally {
	k := len(groups)
	t := &tally{groups: groups, n: make([]int, k), observed: make([]float64, k), expected: make([]float64, k), variance: make([][]float64, k)}
	for i := range t.variance {
		t.variance[i] = make([]float64, k)
	}
	return t
}

func (t *tally) add(lives Lives) {
	atRisk, failed := make([]int, len(t.groups)), make([]int, len(t.groups))
	for at := range lives.risks(0) {
		for i := range at.joined {
			g := at.joined[i].group
			atRisk[g] += at.joined[i].count
			t.n[g] += at.joined[i].count
		}
		if at.failures > 0 {
			clear(failed)
			for i := range at.ended {
				if r := &at.ended[i]; r.failed() {
					failed[r.group] += r.count
				}
			}
			t.addAge(atRisk, failed, at)
		}
		for i := range at.ended {
			if r := &at.ended[i]; r.watched() {
				atRisk[r.group] -= r.count
			}
		}
	}
}

func (t *tally) addAge(atRisk, failed []int, at risk) {
	n, d := float64(at.atRisk), float64(at.failures)
	spread := 0.0
	if at.atRisk > 1 {
		spread = d * (n - d) / (n - 1)
	}
	for i := range t.groups {
		share := float64(atRisk[i]) / n
		t.observed[i] += float64(failed[i])
		t.expected[i] += d * share
		for j := range i {
			t.variance[i][j] -= spread * share * float64(atRisk[j]) / n
		}
		t.variance[i][i] += spread * share * (1 - share)
	}
}

// compare inverts the variance over all groups but the last that could have
// failed at all; the differences of all groups add up to nothing.
func (t *tally) compare() (*Ranks, error) {
	c := &Ranks{}
	var use []int
	for i, g := range t.groups {
		c.Groups = append(c.Groups, GroupCount{Group: g, N: t.n[i], Observed: t.observed[i], Expected: t.expected[i]})
		if t.expected[i] > 0 {
			use = append(use, i)
		}
	}
	if len(use) == 0 {
		return nil, ErrNoFailures
	}
	c.DF = len(use) - 1
	use = use[:c.DF]
	matrix, difference := make([][]float64, c.DF), make([]float64, c.DF)
	for a, i := range use {
		difference[a] = t.observed[i] - t.expected[i]
		matrix[a] = make([]float64, c.DF)
		for b, j := range use {
			matrix[a][b] = t.variance[max(i, j)][min(i, j)]
		}
	}
	chi, ok := quadratic(matrix, difference)
	if !ok || c.DF == 0 {
		return nil, fmt.Errorf("findings: no two groups were ever at risk at the age of a failure that some survived, so they cannot be compared")
	}
	c.ChiSquare, c.P = chi, chiSquareTail(chi, c.DF)
	return c, nil
}

// quadratic returns x' M^-1 x of a positive definite M by Cholesky's method,
// and false if M is not. It overwrites both.
func quadratic(m [][]float64, x []float64) (float64, bool) {
	sum := 0.0
	for i := range m {
		scale := m[i][i]
		for j := range i {
			for k := range j {
				m[i][j] -= m[i][k] * m[j][k]
			}
			m[i][j] /= m[j][j]
			m[i][i] -= m[i][j] * m[i][j]
			x[i] -= m[i][j] * x[j]
		}
		if m[i][i] <= 1e-12*scale || scale <= 0 {
			return 0, false
		}
		m[i][i] = math.Sqrt(m[i][i])
		x[i] /= m[i][i]
		sum += x[i] * x[i]
	}
	return sum, true
}
