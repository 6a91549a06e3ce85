// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops/findings"
)

// notBefore requires that later is not before sooner, where both are known.
func notBefore(rt *rapid.T, sooner, later float64, what string) {
	if math.IsNaN(later) || math.IsNaN(sooner) {
		return
	}
	require.LessOrEqual(rt, sooner, later, what)
}

// Of a curve, later quantiles come later, limits hold the value, and those at
// a higher level hold the ones at a lower.
func TestQuantilesKeepTheirOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l := must(rt, anyLives(rt, known(), rapid.Bool().Draw(rt, "may be late"), 0))
		start := rapid.SampledFrom([]float64{0, 3, 10}).Draw(rt, "start")
		inner, err := findings.KaplanMeierFrom(l, start, 0.5)
		require.NoError(rt, err)
		outer, err := findings.KaplanMeierFrom(l, start, 0.95)
		require.NoError(rt, err)
		var last findings.Estimate
		for _, p := range []float64{0.1, 0.25, 0.5, 0.75, 0.9} {
			a, b := inner.Quantile(p), outer.Quantile(p)
			require.Equal(rt, math.IsNaN(a.Value), math.IsNaN(b.Value))
			notBefore(rt, b.Lower, a.Lower, "lower limits")
			notBefore(rt, a.Lower, a.Value, "lower limit and value")
			notBefore(rt, a.Value, a.Upper, "value and upper limit")
			notBefore(rt, a.Upper, b.Upper, "upper limits")
			notBefore(rt, last.Value, a.Value, "quantiles")
			notBefore(rt, last.Lower, a.Lower, "their lower limits")
			notBefore(rt, last.Upper, a.Upper, "their upper limits")
			last = a
		}
	})
}

// Turnbull's limits widen with the level, are the same in any unit of age, and
// fall with age in a report.
func TestTurnbullLimitsKeepTheirOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := anyLives(rt, every(), false, 0)
		l := must(rt, rows)
		e, err := findings.Turnbull(l)
		if err != nil {
			return
		}
		for i := range rows {
			rows[i].Lower, rows[i].Upper = 1024*rows[i].Lower, 1024*rows[i].Upper
		}
		scaled, err := findings.Turnbull(must(rt, rows))
		require.NoError(rt, err)
		require.Len(rt, scaled.Cells, len(e.Cells))
		const near = 1e-3
		for i, c := range e.Cells {
			if math.IsInf(c.Right, 1) {
				continue // of the share that had not failed, nothing is after it
			}
			inner, outer := c.Survival, c.Survival
			for _, level := range []float64{0.5, 0.9, 0.95, 0.99} {
				lower, upper := e.Limits(c.Right, level)
				require.LessOrEqual(rt, lower, inner+near, "%g", level)
				require.GreaterOrEqual(rt, upper, outer-near, "%g", level)
				inner, outer = lower, upper
			}
			lower, upper := e.Limits(c.Right, 0.99)
			again, upAgain := scaled.Limits(scaled.Cells[i].Right, 0.99)
			require.InDelta(rt, lower, again, near)
			require.InDelta(rt, upper, upAgain, near)
		}
		lastLower, lastUpper := findings.Number(1), findings.Number(1)
		for _, p := range findings.Analyse(l, findings.FromFile).Turnbull {
			require.LessOrEqual(rt, p.Lower, lastLower)
			require.LessOrEqual(rt, p.Upper, lastUpper)
			lastLower, lastUpper = p.Lower, p.Upper
		}
	})
}

// A bound for a known shape falls with the confidence wanted, rises with the
// share that may fail, and moves with the unit of age.
func TestWeibayesKeepsItsOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := hardLives(rt)
		l := must(rt, rows)
		shape := rapid.Float64Range(0.3, 8).Draw(rt, "shape")
		bound := findings.Weibayes(l, shape, 0.1, 0.95)
		require.GreaterOrEqual(rt, bound, 0.0)
		require.LessOrEqual(rt, findings.Weibayes(l, shape, 0.1, 0.99), bound)
		require.LessOrEqual(rt, findings.Weibayes(l, shape, 0.05, 0.95), bound)
		require.LessOrEqual(rt, findings.LowerLife(l, nil, 0.1), findings.Weibayes(l, 2, 0.1, 0.95))
		for i := range rows {
			rows[i].Lower, rows[i].Upper, rows[i].Entry = 1024*rows[i].Lower, 1024*rows[i].Upper, 1024*rows[i].Entry
		}
		sameAge(rt, 1024*bound, findings.Weibayes(must(rt, rows), shape, 0.1, 0.95))
	})
}
