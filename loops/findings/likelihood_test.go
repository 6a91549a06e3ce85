// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"fillmark/loops/findings"
)

// hardLives draws few lives of one or all kinds, with ages over twelve decades
// or close together, and with counts up to a hundred thousand. Those come
// without late entry: together they can put a second region far off that the
// limits do not reach.
func hardLives(rt *rapid.T) []findings.Life {
	kinds := rapid.SampledFrom([][]findings.Kind{every(), known(), {findings.Interval}, {findings.Left, findings.Right}, {findings.Interval, findings.Right}}).Draw(rt, "kinds")
	wide, late := rapid.Bool().Draw(rt, "wide"), rapid.Bool().Draw(rt, "may be late")
	counts := []int{1, 2, 3, 4}
	if !late && rapid.Bool().Draw(rt, "many") {
		counts = []int{1, 2, 1000, 100000}
	}
	return rapid.SliceOfN(rapid.Custom(func(rt *rapid.T) findings.Life {
		age := float64(rapid.IntRange(2, 80).Draw(rt, "age")) / 2
		if wide {
			age = math.Pow(10, float64(rapid.IntRange(-24, 24).Draw(rt, "decade"))/4)
		}
		l := findings.Life{Lower: age, Upper: math.Inf(1), Count: rapid.SampledFrom(counts).Draw(rt, "count")}
		switch rapid.SampledFrom(kinds).Draw(rt, "kind") {
		case findings.Exact:
			l.Upper = age
		case findings.Interval:
			l.Upper = age * (1 + float64(rapid.IntRange(1, 30).Draw(rt, "width"))/10)
		case findings.Left:
			l.Lower, l.Upper = 0, age
		case findings.Right:
		}
		if late && l.Lower > 0 && rapid.Bool().Draw(rt, "late") {
			l.Entry = age * float64(rapid.IntRange(1, 19).Draw(rt, "entry")) / 20
		}
		return l
	}), 1, 12).Draw(rt, "lives")
}

// byDefinition is the log-likelihood as it is defined, life by life: the
// chance of what was seen, given that the loop was good when it joined.
func byDefinition(rows []findings.Life, mu, logSigma float64) float64 {
	sigma := math.Exp(logSigma)
	hazard := func(age float64) float64 { return math.Exp((math.Log(age) - mu) / sigma) }
	between := func(a, b float64) float64 {
		if gap := math.Log(b/a) / sigma; gap < 1 { // two near ages
			return hazard(a) * math.Expm1(gap)
		}
		return hazard(b) - hazard(a)
	}
	sum := 0.0
	for _, r := range rows {
		v := 0.0
		if r.Lower > 0 {
			v = -between(r.Entry, r.Lower)
		}
		switch {
		case math.IsInf(r.Upper, 1):
		case r.Upper == r.Lower:
			v += (math.Log(r.Lower)-mu)/sigma - logSigma - math.Log(r.Lower)
		default:
			v += math.Log(-math.Expm1(-between(r.Lower, r.Upper)))
		}
		sum += float64(r.Count) * v
	}
	if math.IsNaN(sum) {
		return math.Inf(-1)
	}
	return sum
}

// highestOn is the highest value of a function between low and high: on a
// grid, and from its best point by the golden section.
func highestOn(low, high float64, points int, f func(float64) float64) float64 {
	at, top, step := low, math.Inf(-1), (high-low)/float64(points)
	for i := range points + 1 {
		x := low + float64(i)*step
		if v := f(x); v > top {
			at, top = x, v
		}
	}
	a, b := max(low, at-step), min(high, at+step)
	for range 40 {
		c, d := b-(b-a)/math.Phi, a+(b-a)/math.Phi
		if f(c) > f(d) {
			b = d
		} else {
			a = c
		}
	}
	return math.Max(top, f(a))
}

// ageProfile is the highest likelihood of all distributions by which the
// share p of the loops good at goodAt fails by the age.
func ageProfile(rows []findings.Life, p, goodAt, age float64) float64 {
	return highestOn(-8, 4, 300, func(logSigma float64) float64 {
		sigma := math.Exp(logSigma)
		grown := math.Log(age) // sigma ln(age^(1/sigma) - goodAt^(1/sigma))
		if goodAt > 0 {
			grown += sigma * math.Log(-math.Expm1(math.Log(goodAt/age)/sigma))
		}
		return byDefinition(rows, grown-sigma*math.Log(-math.Log1p(-p)), logSigma)
	})
}

// shapeProfile is the highest likelihood of all distributions of a shape.
func shapeProfile(rows []findings.Life, shape float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, r := range rows {
		for _, age := range []float64{r.Lower, r.Upper} {
			if age > 0 && !math.IsInf(age, 1) {
				low, high = math.Min(low, math.Log(age)), math.Max(high, math.Log(age))
			}
		}
	}
	return highestOn(shape*low-60, shape*high+60, 3000, func(x float64) float64 { return byDefinition(rows, x/shape, -math.Log(shape)) })
}

// The fit is the highest of all distributions, and at each limit of its shape,
// of an age and of a next look the likelihood, maximised on a grid that knows
// nothing of the way there, has fallen by what the level allows.
func TestLimitsStandWhereTheLikelihoodHasFallen(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := hardLives(rt)
		w, err := findings.FitWeibull(must(rt, rows))
		if err != nil {
			require.True(rt, errors.Is(err, findings.ErrNoFailures) || errors.Is(err, findings.ErrNoShape))
			return
		}
		near := 1e-4 + 1e-11*math.Abs(w.LogLik)
		require.InDelta(rt, byDefinition(rows, math.Log(w.Scale), -math.Log(w.Shape)), w.LogLik, near)
		fallen := func(what string, wanted, limit, top float64) {
			require.InDelta(rt, wanted, 2*(w.LogLik-top), 1e-3*(1+wanted)+near, "%s %g of %v", what, limit, w)
		}
		p := rapid.SampledFrom([]float64{0.001, 0.01, 0.1, 0.5, 0.9, 0.999}).Draw(rt, "p")
		for _, far := range []float64{0.1, 0.5, 0.9, 1, 1.1, 2, 10} {
			require.LessOrEqual(rt, ageProfile(rows, p, 0, far*w.Life(p)), w.LogLik+near, "%v is not the highest", w)
		}
		level := rapid.SampledFrom([]float64{0.05, 0.5, 0.9, 0.95, 0.999}).Draw(rt, "level")
		wanted := distuv.ChiSquared{K: 1}.Quantile(level)
		age, shape := w.LifeLimits(p, level), w.ShapeLimits(level)
		for _, limit := range []float64{age.Lower, age.Upper} {
			if limit > 0 && !math.IsInf(limit, 1) {
				fallen("age", wanted, limit, ageProfile(rows, p, 0, limit))
			}
		}
		for _, limit := range []float64{shape.Lower, shape.Upper} {
			if limit > 0 && !math.IsInf(limit, 1) {
				fallen("shape", wanted, limit, shapeProfile(rows, limit))
			}
		}
		if w.Failures < 2 {
			return
		}
		wanted = math.Pow(distuv.StudentsT{Sigma: 1, Nu: float64(w.Failures - 1)}.Quantile(0.95), 2)
		if lower := w.LowerLife(p, 0.95); lower > 0 {
			fallen("lower bound", wanted, lower, ageProfile(rows, p, 0, lower))
		}
	})
}

// Limits widen with the level, ages rise with the share that fails by them,
// and a unit of age is only that.
func TestLimitsKeepTheirOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		rows := hardLives(rt)
		w, err := findings.FitWeibull(must(rt, rows))
		if err != nil {
			return
		}
		const slack = 1 + 1e-9
		p := rapid.SampledFrom([]float64{0.001, 0.01, 0.1, 0.5, 0.9}).Draw(rt, "p")
		inner := findings.Estimate{Value: w.Life(p), Lower: w.Life(p), Upper: w.Life(p)}
		for _, level := range []float64{0.05, 0.5, 0.9, 0.95, 0.999} {
			outer := w.LifeLimits(p, level)
			require.LessOrEqual(rt, outer.Lower, inner.Lower*slack, "%g", level)
			require.GreaterOrEqual(rt, outer.Upper*slack, inner.Upper, "%g", level)
			inner = outer
		}
		sooner, later := w.LifeLimits(p, 0.95), w.LifeLimits(p+0.09, 0.95)
		require.LessOrEqual(rt, sooner.Lower, later.Lower*slack)
		require.LessOrEqual(rt, sooner.Upper, later.Upper*slack)
		for i := range rows {
			rows[i].Lower, rows[i].Upper, rows[i].Entry = 1024*rows[i].Lower, 1024*rows[i].Upper, 1024*rows[i].Entry
		}
		scaled, err := findings.FitWeibull(must(rt, rows))
		require.NoError(rt, err)
		again := scaled.LifeLimits(p, 0.95)
		sameAge(rt, 1024*sooner.Lower, again.Lower)
		sameAge(rt, 1024*sooner.Upper, again.Upper)
	})
}

func sameAge(rt *rapid.T, want, got float64) {
	if want == 0 || math.IsInf(want, 1) {
		require.Equal(rt, want, got)
		return
	}
	require.InEpsilon(rt, want, got, 1e-5)
}
