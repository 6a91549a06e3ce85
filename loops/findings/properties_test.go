// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops/findings"
)

// anyLife draws a life of any kind with ages on a coarse grid, so that ties
// are common.
func anyLife(rt *rapid.T, kinds []findings.Kind, late bool, groups int) findings.Life {
	age := func(low, high int, label string) float64 {
		return float64(rapid.IntRange(low, high).Draw(rt, label)) / 2
	}
	l := findings.Life{Lower: age(2, 80, "lower"), Upper: math.Inf(1), Count: rapid.IntRange(1, 4).Draw(rt, "count")}
	switch rapid.SampledFrom(kinds).Draw(rt, "kind") {
	case findings.Exact:
		l.Upper = l.Lower
	case findings.Interval:
		l.Upper = l.Lower + age(1, 20, "width")
	case findings.Left:
		l.Lower, l.Upper = 0, l.Lower
	case findings.Right:
	}
	if late && l.Lower > 0 && rapid.Bool().Draw(rt, "late") {
		l.Entry = l.Lower - age(1, int(2*l.Lower), "watched")
	}
	l.Cause = rapid.SampledFrom([]string{"", "", "clog", "leak"}).Draw(rt, "cause")
	if groups > 0 {
		l.Group = fmt.Sprint(rapid.IntRange(1, groups).Draw(rt, "group"))
	}
	return l
}

func anyLives(rt *rapid.T, kinds []findings.Kind, late bool, groups int) []findings.Life {
	return rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) findings.Life { return anyLife(rt, kinds, late, groups) }), 1, 40).Draw(rt, "lives")
}

func known() []findings.Kind { return []findings.Kind{findings.Exact, findings.Right} }

func every() []findings.Kind {
	return []findings.Kind{findings.Exact, findings.Interval, findings.Left, findings.Right}
}

func must(rt *rapid.T, rows []findings.Life) findings.Lives {
	l, err := findings.NewLives(rows)
	require.NoError(rt, err)
	return l
}

// Merging is a matter of storage: order and splitting of rows change nothing,
// and no life is lost.
func TestMergingChangesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := anyLives(rt, every(), true, 2)
		var single []findings.Life
		n := 0
		for _, r := range rows {
			n += r.Count
			for range r.Count {
				one := r
				one.Count = 1
				single = append(single, one)
			}
		}
		shuffled := rapid.Permutation(single).Draw(rt, "order")
		a, b := must(rt, rows), must(rt, shuffled)
		require.Equal(rt, a.Rows(), b.Rows())
		require.Equal(rt, n, a.N())
		sorted := slices.IsSortedFunc(a.Rows(), func(x, y findings.Life) int {
			return int(math.Copysign(1, x.Lower-y.Lower)) * boolInt(x.Lower != y.Lower)
		})
		require.True(rt, sorted)
	})
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}

// A curve falls from 1, within its limits, and everyone is counted.
func TestKaplanMeierProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l := must(rt, anyLives(rt, known(), false, 0))
		c, err := findings.KaplanMeier(l)
		require.NoError(rt, err)
		last, ended, age := 1.0, 0, -1.0
		for _, s := range c.Steps {
			require.Greater(rt, s.Age, age)
			require.LessOrEqual(rt, s.Survival, last)
			require.LessOrEqual(rt, s.Lower, s.Survival)
			require.GreaterOrEqual(rt, s.Upper, s.Survival)
			require.GreaterOrEqual(rt, s.Lower, 0.0)
			require.LessOrEqual(rt, s.Upper, 1.0)
			require.Equal(rt, l.N()-ended, s.AtRisk)
			last, age = s.Survival, s.Age
			ended += s.Failures + s.Censored
		}
		require.Equal(rt, l.N(), ended)
	})
}

// Without censoring the curve is the plain share still good.
func TestKaplanMeierOfKnownAgesIsTheShare(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := anyLives(rt, []findings.Kind{findings.Exact}, false, 0)
		l := must(rt, rows)
		c, err := findings.KaplanMeier(l)
		require.NoError(rt, err)
		for _, s := range c.Steps {
			good := 0
			for _, r := range rows {
				if r.Lower > s.Age {
					good += r.Count
				}
			}
			require.InDelta(rt, float64(good)/float64(l.N()), s.Survival, 1e-12)
		}
	})
}

// Turnbull's estimate of exact and right-censored lives is Kaplan-Meier's.
func TestTurnbullOfKnownAgesIsKaplanMeier(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l := must(rt, anyLives(rt, known(), false, 0))
		e, err := findings.Turnbull(l)
		if l.Failures() == 0 {
			require.ErrorIs(rt, err, findings.ErrNoFailures)
			return
		}
		require.NoError(rt, err)
		c, err := findings.KaplanMeier(l)
		require.NoError(rt, err)
		at := map[float64]float64{}
		for _, s := range c.Steps {
			at[s.Age] = s.Survival
		}
		for _, cell := range e.Cells {
			if !math.IsInf(cell.Right, 1) {
				require.InDelta(rt, at[cell.Right], cell.Survival, 1e-6)
			}
		}
	})
}

// The masses add up to 1, the gap is closed, and limits hold the estimate.
func TestTurnbullProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l := must(rt, anyLives(rt, every(), false, 0))
		e, err := findings.Turnbull(l)
		if err != nil {
			require.ErrorIs(rt, err, findings.ErrNoFailures)
			return
		}
		sum := 0.0
		for _, c := range e.Cells {
			sum += c.Mass
			if math.IsInf(c.Right, 1) {
				continue
			}
			lower, upper := e.Limits(c.Right, 0.95)
			require.LessOrEqual(rt, lower, c.Survival+1e-6)
			require.GreaterOrEqual(rt, upper, c.Survival-1e-6)
		}
		require.InDelta(rt, 1, sum, 1e-6)
		require.Less(rt, e.Gap, 1e-9)
	})
}

// A Weibull fit moves with the unit of age, and its limits hold it.
func TestWeibullProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := anyLives(rt, every(), true, 0)
		w, err := findings.FitWeibull(must(rt, rows))
		if err != nil {
			require.True(rt, errors.Is(err, findings.ErrNoFailures) || errors.Is(err, findings.ErrNoShape))
			return
		}
		factor := rapid.SampledFrom([]float64{0.001, 30.4375, 1e6}).Draw(rt, "factor")
		for i := range rows {
			rows[i].Lower *= factor
			rows[i].Upper *= factor
			rows[i].Entry *= factor
		}
		scaled, err := findings.FitWeibull(must(rt, rows))
		require.NoError(rt, err)
		require.InEpsilon(rt, w.Shape, scaled.Shape, 1e-6)
		require.InEpsilon(rt, w.Scale*factor, scaled.Scale, 1e-6)
		for _, limits := range []func(level float64) findings.Estimate{w.ShapeLimits, func(level float64) findings.Estimate { return w.LifeLimits(0.1, level) }} {
			inner, outer := limits(0.5), limits(0.95)
			require.Less(rt, inner.Lower, inner.Value)
			require.Greater(rt, inner.Upper, inner.Value)
			if inner.Lower > 0 {
				require.Less(rt, outer.Lower, inner.Lower)
			}
			if !math.IsInf(inner.Upper, 1) {
				require.Greater(rt, outer.Upper, inner.Upper)
			}
		}
		if w.Failures >= 2 {
			require.LessOrEqual(rt, w.LowerLife(0.1, 0.95), w.Life(0.1))
		}
	})
}

// Where the likelihood rises towards "a share fails at once, the rest never",
// however slowly, there is no Weibull distribution to report.
func TestWeibullRefusesAShareAtOnce(t *testing.T) {
	t.Parallel()
	good := math.Inf(1)
	lives, err := findings.NewLives([]findings.Life{
		{Upper: 13, Count: 4}, {Upper: 7.5, Count: 4}, {Upper: 2, Count: 2},
		{Lower: 3, Entry: 2.5, Upper: good, Count: 1}, {Lower: 13.5, Entry: 11, Upper: good, Count: 1},
		{Lower: 23.5, Upper: good, Count: 4}, {Lower: 25.5, Upper: good, Count: 1},
	})
	require.NoError(t, err)
	_, err = findings.FitWeibull(lives)
	require.ErrorIs(t, err, findings.ErrNoShape)
}

// With few failures an age far off leads the search to where every shape is
// alike; the limits of the ages before it are found all the same.
func TestLifeLimitsPastAPlain(t *testing.T) {
	t.Parallel()
	good := math.Inf(1)
	lives, err := findings.NewLives([]findings.Life{{Lower: 7.5, Upper: good, Count: 4}, {Upper: 15, Count: 4}, {Lower: 28, Upper: good, Count: 2}})
	require.NoError(t, err)
	w, err := findings.FitWeibull(lives)
	require.NoError(t, err)
	e := w.LifeLimits(0.1, 0.95)
	require.InDelta(t, 1.0014504, e.Value, 1e-6)
	require.Zero(t, e.Lower)
	// Twice the fall of the log-likelihood, maximised over the shape on a grid
	// of 1e-4 in its logarithm, passes 3.841 between these two.
	require.Greater(t, e.Upper, 10.86)
	require.Less(t, e.Upper, 10.87)
}

// Nothing beats the maximum: the likelihood at any other distribution is
// lower, as told by the limits at a level close to none.
func TestWeibullLimitsNest(t *testing.T) {
	t.Parallel()
	w, err := findings.FitWeibull(lives(t, "loops_syn", ""))
	require.NoError(t, err)
	inner := w.LifeLimits(0.1, 0.01)
	for _, level := range []float64{0.5, 0.9, 0.95, 0.999} {
		outer := w.LifeLimits(0.1, level)
		require.Less(t, outer.Lower, inner.Lower)
		require.Greater(t, outer.Upper, inner.Upper)
		inner = outer
	}
}

// Corrected p are never smaller, keep their order, and the smallest is
// multiplied by their number.
func TestHolmProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 1, 12).Draw(rt, "p")
		got := findings.Holm(p)
		require.InDelta(rt, math.Min(1, slices.Min(p)*float64(len(p))), slices.Min(got), 1e-12)
		for i := range p {
			require.GreaterOrEqual(rt, got[i], p[i])
			require.LessOrEqual(rt, got[i], 1.0)
			for j := range p {
				if p[i] < p[j] {
					require.LessOrEqual(rt, got[i], got[j])
				}
			}
		}
	})
}

// Whatever is in a file, the report is good JSON with finite figures, and the
// picture is good XML.
func TestReportsAreWellFormed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l := must(rt, anyLives(rt, every(), rapid.Bool().Draw(rt, "mayBeLate"), rapid.IntRange(0, 5).Draw(rt, "groups")))
		scope := rapid.SampledFrom([]findings.Scope{findings.FromFile, findings.FromRegister}).Draw(rt, "scope")
		r := findings.Analyse(l, scope)
		text, err := json.Marshal(r)
		require.NoError(rt, err)
		require.Contains(rt, string(text), `"refused":[`)
		for _, a := range r.Answers {
			require.True(rt, strings.HasSuffix(a.Sentence, "."), a.Sentence)
			require.NotContains(rt, a.Sentence, "NaN")
			require.NotContains(rt, a.Sentence, "Inf")
			require.NotContains(rt, a.Sentence, "unknown")
			require.Equal(rt, l.N(), a.Basis.N)
		}
		for _, refused := range r.Refused {
			require.NotEmpty(rt, refused.What)
			require.NotEmpty(rt, refused.Why)
		}
		if p, ok := findings.NewPlot(r, l); ok {
			wellFormed(rt, p.SVG("months"))
		}
	})
}

func wellFormed(t require.TestingT, svg []byte) {
	require.NotContains(t, string(svg), "NaN")
	require.NotContains(t, string(svg), "Inf")
	require.NotContains(t, string(svg), "style=")
	for d := xml.NewDecoder(strings.NewReader(string(svg))); ; {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err)
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("lower,upper,count\n12,15,1\n14,14,2\n0,6,1\n18,,20\n")
	f.Add("lower,upper,count,group,entry,cause\n12,Inf,1,a,3,\n14,14,2,b,,leak\n")
	f.Add("\ufefflower,upper,count\r\n\"1\",2,3\r\n")
	f.Add("lower,upper,count\nNaN,1,1\n")
	f.Fuzz(func(t *testing.T, text string) {
		l, err := findings.ReadCSV(strings.NewReader(text))
		if err != nil {
			var bad *findings.InvalidError
			require.ErrorAs(t, err, &bad)
			require.Positive(t, bad.Line)
			require.NotEmpty(t, bad.Column)
			require.NotEmpty(t, bad.Reason)
			return
		}
		require.Positive(t, l.N())
		again, err := findings.NewLives(l.Rows())
		require.NoError(t, err)
		require.Equal(t, l.Rows(), again.Rows())
	})
}
