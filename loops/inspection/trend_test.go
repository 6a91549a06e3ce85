// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops/inspection"
)

func points(t *testing.T, dataset string) []inspection.Point {
	t.Helper()
	var out []inspection.Point
	for _, row := range table(t, "data_trend.csv") {
		if row["dataset"] == dataset {
			out = append(out, inspection.Point{X: number(t, row["x"]), Y: number(t, row["y"])})
		}
	}
	return out
}

// near compares to 1e-12 relative, infinities alike.
func near(t *testing.T, want, got float64, what string) {
	t.Helper()
	if math.IsInf(want, 0) {
		assert.Equal(t, want, got, what)
		return
	}
	assert.InDelta(t, want, got, 1e-12*(1+math.Abs(want)), what)
}

// Every figure of R for every data set: where there are no ties the exact
// null distribution counts, else the normal one with ranks rounded outwards.
func TestTrendAgainstR(t *testing.T) {
	t.Parallel()
	for _, row := range table(t, "trend.csv") {
		t.Run(row["id"], func(t *testing.T) {
			t.Parallel()
			data := points(t, row["id"])
			if len(data) < inspection.FewestFor(0.95) {
				_, err := inspection.FindTrend(data, 0.95)
				var refusal inspection.Refusal
				require.ErrorAs(t, err, &refusal)
				data = append([]inspection.Point{}, data...)
				got, err := inspection.FindTrend(data, 0.90)
				require.NoError(t, err)
				near(t, number(t, row["p_exact_two"]), got.P, "exact p")
				near(t, number(t, row["sen_slope"]), got.Slope, "slope")
				return
			}
			got, err := inspection.FindTrend(data, 0.95)
			require.NoError(t, err)
			assert.Equal(t, number(t, row["n"]), float64(got.N))
			assert.Equal(t, number(t, row["S"]), float64(got.S))
			near(t, number(t, row["varS"]), got.Variance, "variance")
			near(t, number(t, row["Z"]), got.Z, "Z")
			near(t, number(t, row["sen_slope"]), got.Slope, "slope")
			near(t, number(t, row["icept_median_resid"]), got.Intercept(got.Slope), "intercept")
			exact := row["p_exact_two"] != "NA"
			assert.Equal(t, exact, got.Exact)
			p, kind := row["p_norm_two"], "rank"
			if exact {
				p, kind = row["p_exact_two"], "exact"
			}
			near(t, number(t, p), got.P, "p")
			near(t, number(t, row["lo95_"+kind]), got.Low, "low")
			near(t, number(t, row["hi95_"+kind]), got.High, "high")
		})
	}
}

// EPA QA/G-9S, p. 109: S 22, variance 155.33, Z 1.685.
func TestPublishedExampleOfTheEPA(t *testing.T) {
	t.Parallel()
	got, err := inspection.FindTrend(points(t, "epa_g9s"), 0.95)
	require.NoError(t, err)
	assert.Equal(t, 22, got.S)
	assert.InDelta(t, 155.33, got.Variance, 0.005)
	assert.InDelta(t, 1.685, got.Z, 0.0005)
}

// The exact p of a row with a given S: a row is built whose S it is, by
// putting one reading after another at the rank that adds what is wanted.
func TestExactNullDistribution(t *testing.T) {
	t.Parallel()
	checked := 0
	for _, row := range table(t, "mk_exact_table.csv") {
		n, s := int(number(t, row["n"])), int(number(t, row["S"]))
		if n < 4 || s < 0 {
			continue
		}
		data := rowWithScore(n, s)
		got, err := inspection.FindTrend(data, 0.90)
		require.NoError(t, err)
		require.Equal(t, s, got.S, "n %d", n)
		near(t, min(1, 2*number(t, row["p_S_ge"])), got.P, "p")
		checked++
	}
	assert.Greater(t, checked, 100)
}

// rowWithScore returns n readings without ties whose score is s: a reading put
// above r of its j predecessors adds 2r − j.
func rowWithScore(n, s int) []inspection.Point {
	inversions := (n*(n-1)/2 - s) / 2
	var order []int // indices of readings, lowest value first
	for j := range n {
		below := max(0, j-inversions)
		inversions -= j - below
		order = append(order[:below], append([]int{j}, order[below:]...)...)
	}
	out := make([]inspection.Point, n)
	for rank, j := range order {
		out[j] = inspection.Point{X: float64(j), Y: float64(rank)}
	}
	return out
}

func TestTrendRefuses(t *testing.T) {
	t.Parallel()
	three := []inspection.Point{{X: 0, Y: 1}, {X: 1, Y: 2}, {X: 2, Y: 3}}
	tests := []struct {
		name       string
		points     []inspection.Point
		confidence float64
		text       string
	}{
		{"three readings at 90 %", three, 0.90, "3 readings; at least 4 are needed at 90 %"},
		{"four readings at 95 %", append(three, inspection.Point{X: 3, Y: 4}), 0.95, "4 readings; at least 5 are needed at 95 %"},
		{"one day", []inspection.Point{{Y: 1}, {Y: 2}, {Y: 3}, {Y: 4}}, 0.90, "all readings are of the same time"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := inspection.FindTrend(tt.points, tt.confidence)
			var refusal inspection.Refusal
			require.ErrorAs(t, err, &refusal)
			assert.Equal(t, "trend", refusal.What)
			assert.Contains(t, refusal.Why, tt.text)
		})
	}
	_, err := inspection.FindTrend([]inspection.Point{{Y: math.NaN()}, {X: 1}, {X: 2}, {X: 3}}, 0.90)
	assert.ErrorContains(t, err, "finite numbers")
	_, err = inspection.FindTrend(three, 1.5)
	assert.ErrorContains(t, err, "confidence")
}

func TestCrossing(t *testing.T) {
	t.Parallel()
	trend, err := inspection.FindTrend(points(t, "R_mount_a"), inspection.OutlookConfidence)
	require.NoError(t, err)
	got, err := trend.Crossing(0.13)
	require.NoError(t, err)
	// By hand: intercept 0.0994 at slope 0.0012 gives 25.5 months.
	assert.InDelta(t, (0.13-0.0994)/0.0012, got.At, 1e-9)
	assert.Less(t, got.Earliest, got.At)
	assert.Greater(t, got.Latest, got.At)
	assert.False(t, got.Far)
	got, err = trend.Crossing(0.2)
	require.NoError(t, err)
	assert.True(t, got.Far, "twice the span of the readings is 36 months")

	flat, err := inspection.FindTrend(points(t, "flat"), inspection.OutlookConfidence)
	require.NoError(t, err)
	_, err = flat.Crossing(0.13)
	assert.ErrorContains(t, err, "holds zero")
	falling := points(t, "five")
	for i := range falling {
		falling[i].Y = -falling[i].Y
	}
	down, err := inspection.FindTrend(falling, inspection.OutlookConfidence)
	require.NoError(t, err)
	_, err = down.Crossing(0.13)
	assert.ErrorContains(t, err, "fall")
}

func TestLookAhead(t *testing.T) {
	t.Parallel()
	values := func(n int, perMonth float64) []inspection.Dated {
		out := make([]inspection.Dated, n)
		for i := range out {
			out[i] = inspection.Dated{Day: 90 * float64(i), Value: inspection.KelvinPerWatt(0.1 + 3*perMonth*float64(i)), Power: 100}
		}
		return out
	}
	o, err := inspection.LookAhead(values(6, 0.001))
	require.NoError(t, err)
	assert.InDelta(t, 0.103, float64(o.Baseline), 1e-12, "median of the first three")
	assert.InDelta(t, 1.3*0.103, float64(o.Limit), 1e-12)
	assert.InDelta(t, (1.3*0.103-0.1)/0.001*30, o.Crossing.At, 1e-6)

	other := values(6, 0.001)
	other[4].Power = 126 // more than 25 % away
	o, err = inspection.LookAhead(other)
	require.NoError(t, err)
	assert.Equal(t, 5, o.Trend.N)

	for name, n := range map[string]int{"baseline": 2, "trend": 3} {
		_, err := inspection.LookAhead(values(n, 0.001))
		var refusal inspection.Refusal
		require.ErrorAs(t, err, &refusal)
		assert.Equal(t, name, refusal.What)
	}
	_, err = inspection.LookAhead(values(6, 0))
	assert.ErrorContains(t, err, "holds zero")
}

// The slope turns with the data: scaling, shifting and mirroring do to it what
// they do to a line, and the interval holds the slope.
func TestTrendProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 30).Draw(t, "n")
		data, mirrored := make([]inspection.Point, n), make([]inspection.Point, n)
		for i := range data {
			data[i] = inspection.Point{X: float64(i), Y: float64(rapid.IntRange(-20, 20).Draw(t, "y"))}
			mirrored[i] = inspection.Point{X: data[i].X, Y: -data[i].Y}
		}
		a, err := inspection.FindTrend(data, 0.95)
		require.NoError(t, err)
		b, err := inspection.FindTrend(mirrored, 0.95)
		require.NoError(t, err)
		assert.Equal(t, a.S, -b.S)
		assert.InDelta(t, a.Slope, -b.Slope, 1e-12)
		assert.InDelta(t, a.P, b.P, 1e-12)
		assert.LessOrEqual(t, a.Low, a.Slope)
		assert.GreaterOrEqual(t, a.High, a.Slope)
		if !math.IsInf(a.Low, 0) && !math.IsInf(a.High, 0) {
			assert.InDelta(t, a.Low, -b.High, 1e-12)
		}
	})
}
