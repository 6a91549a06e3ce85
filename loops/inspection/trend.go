// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
)

// Point is one value at one time; X may be days, months or years.
type Point struct{ X, Y float64 }

// Trend is what a row of readings says about its drift: the test of Mann and
// Kendall and the slope of Theil and Sen.
type Trend struct {
	N int `json:"n"`
	// S is Kendall's score, its variance corrected for ties (Kendall 1970).
	S        int     `json:"s"`
	Variance float64 `json:"variance"`
	Z        float64 `json:"z"` // with continuity correction
	// P is two-sided: from the exact null distribution where Exact is true
	// (n ≤ 50 without ties), else from the normal one.
	P     float64 `json:"p"`
	Exact bool    `json:"exact"`
	// Slope is the median of all slopes in units of Y per unit of X; Low and
	// High bound it at Confidence, from the same null distribution. They are
	// infinite where there are too few readings.
	Slope      float64 `json:"slope"`
	Low        float64 `json:"slope_low"`
	High       float64 `json:"slope_high"`
	Confidence float64 `json:"confidence"`

	points []Point
}

// Most readings that a trend is worked out from, which bounds the time it takes.
const maxTrend = 2000

// FewestFor returns how many readings a trend needs at a two-sided confidence
// of 0.90 (4) or 0.95 (5): below, no order of the readings would be enough.
func FewestFor(confidence float64) int {
	n, all := 2, 2.0
	for 1/all > (1-confidence)/2 && n < 50 {
		n++
		all *= float64(n)
	}
	return n
}

// FindTrend works out the trend of at least [FewestFor] readings; fewer are a
// [Refusal]. Confidence is two-sided, between 0.5 and 0.999.
func FindTrend(points []Point, confidence float64) (Trend, error) {
	if !(confidence >= 0.5 && confidence <= 0.999) {
		return Trend{}, invalid("confidence", confidence, "0.5 to 0.999")
	}
	n := len(points)
	if few := FewestFor(confidence); n < few {
		return Trend{}, Refusal{"trend", fmt.Sprintf("%d readings; at least %d are needed at %s %%", n, few, trim(100*confidence, 1))}
	}
	if n > maxTrend {
		return Trend{}, invalid("readings", n, fmt.Sprintf("at most %d", maxTrend))
	}
	for _, p := range points {
		if math.IsNaN(p.X+p.Y) || math.IsInf(p.X+p.Y, 0) {
			return Trend{}, invalid("readings", fmt.Sprint(p), "finite numbers")
		}
	}
	t := Trend{N: n, Confidence: confidence, points: slices.Clone(points)}
	slopes := t.score()
	if len(slopes) == 0 {
		return Trend{}, Refusal{"trend", "all readings are of the same time"}
	}
	slices.Sort(slopes)
	t.Slope = median(slopes)
	null := t.test()
	t.bounds(slopes, null)
	return t, nil
}

// score sets S and returns all slopes between readings of different times.
func (t *Trend) score() []float64 {
	slopes := make([]float64, 0, t.N*(t.N-1)/2)
	for i, a := range t.points {
		for _, b := range t.points[i+1:] {
			dx, dy := b.X-a.X, b.Y-a.Y
			if dx == 0 {
				continue
			}
			slopes = append(slopes, dy/dx)
			switch {
			case dx*dy > 0:
				t.S++
			case dx*dy < 0:
				t.S--
			}
		}
	}
	return slopes
}

// test sets variance, Z and P, and returns the exact null distribution where
// it counts, else nil.
func (t *Trend) test() nullScores {
	xs, ys := make([]float64, t.N), make([]float64, t.N)
	for i, p := range t.points {
		xs[i], ys[i] = p.X, p.Y
	}
	n := float64(t.N)
	x, y := tiesOf(xs), tiesOf(ys)
	t.Variance = (n*(n-1)*(2*n+5)-x.v-y.v)/18 + x.pairs*y.pairs/(2*n*(n-1))
	if t.N > 2 {
		t.Variance += x.triples * y.triples / (9 * n * (n - 1) * (n - 2))
	}
	switch {
	case t.S > 0:
		t.Z = float64(t.S-1) / math.Sqrt(t.Variance)
	case t.S < 0:
		t.Z = float64(t.S+1) / math.Sqrt(t.Variance)
	}
	t.Exact = t.N <= exactUpTo && x.v == 0 && y.v == 0
	t.P = math.Erfc(math.Abs(t.Z) / math.Sqrt2)
	if !t.Exact {
		return nil
	}
	null := nullOf(t.N)
	t.P = min(1, 2*null.atLeast(max(t.S, -t.S)))
	return null
}

// bounds finds the ranks among the sorted slopes that bound the true one.
func (t *Trend) bounds(slopes []float64, null nullScores) {
	alpha := (1 - t.Confidence) / 2
	t.Low, t.High = math.Inf(-1), math.Inf(1)
	count := len(slopes)
	var low, high int // ranks from 1; outside the row they bound nothing
	if t.Exact {
		// k slopes may lie on the wrong side as long as that is unlikely enough.
		for 2*low < count && null.atLeast(count-2*low) <= alpha {
			low++
		}
		high = count + 1 - low
	} else {
		c := mathext.NormalQuantile(1-alpha) * math.Sqrt(t.Variance)
		low = int(math.Floor((float64(count) - c) / 2))
		high = int(math.Ceil((float64(count)+c)/2 + 1))
	}
	if low >= 1 {
		t.Low = slopes[low-1]
	}
	if high <= count {
		t.High = slopes[high-1]
	}
}

// Intercept returns the median of y − b·x, the line's value at x = 0.
func (t Trend) Intercept(slope float64) float64 {
	rest := make([]float64, len(t.points))
	for i, p := range t.points {
		rest[i] = p.Y - slope*p.X
	}
	slices.Sort(rest)
	return median(rest)
}

// Crossing is when a rising trend passes a limit, in the unit of X.
type Crossing struct {
	Limit    float64 `json:"limit"`
	At       float64 `json:"at"`
	Earliest float64 `json:"earliest"` // at the steepest slope of the interval
	Latest   float64 `json:"latest"`   // at the flattest
	// Far tells that the crossing lies further off than twice the time the
	// readings cover: only a guess.
	Far bool `json:"far,omitempty"`
}

// Crossing returns when the trend passes the limit: (limit − a)/b at the slope
// and at both its bounds, with a found again for each. It refuses, as a
// [Refusal], where the interval of the slope holds zero or bounds nothing, or
// the trend falls.
func (t Trend) Crossing(limit float64) (Crossing, error) {
	const what = "crossing day"
	switch {
	case math.IsInf(t.Low, 0) || math.IsInf(t.High, 0):
		return Crossing{}, Refusal{what, "the readings do not bound the slope"}
	case t.Low <= 0 && t.High >= 0:
		return Crossing{}, Refusal{what, "the readings may as well not drift at all: the interval of the slope holds zero"}
	case t.High < 0:
		return Crossing{}, Refusal{what, "the readings fall, away from the limit"}
	}
	at := func(slope float64) float64 { return (limit - t.Intercept(slope)) / slope }
	c := Crossing{Limit: limit, At: at(t.Slope), Earliest: at(t.High), Latest: at(t.Low)}
	// The lines cross each other near the middle of the readings, so that
	// before it the steepest is the last.
	c.Earliest, c.Latest = min(c.At, c.Earliest, c.Latest), max(c.At, c.Earliest, c.Latest)
	first, last := t.points[0].X, t.points[0].X
	for _, p := range t.points {
		first, last = min(first, p.X), max(last, p.X)
	}
	c.Far = c.At > first+2*(last-first)
	return c, nil
}

// ties sums what equal values take from the variance of S.
type ties struct{ v, pairs, triples float64 }

func tiesOf(values []float64) ties {
	var sum ties
	sorted := slices.Sorted(slices.Values(values))
	for i := 0; i < len(sorted); {
		j := i
		for j < len(sorted) && sorted[j] == sorted[i] {
			j++
		}
		t := float64(j - i)
		sum.v += t * (t - 1) * (2*t + 5)
		sum.pairs += t * (t - 1)
		sum.triples += t * (t - 1) * (t - 2)
		i = j
	}
	return sum
}

// exactUpTo is the longest row whose null distribution is counted out.
const exactUpTo = 50

// nullScores is the distribution of S over all orders of readings without ties:
// the chance of each number of inversions.
type nullScores []float64

// nullOf builds the distribution up reading by reading.
func nullOf(n int) nullScores {
	chance := nullScores{1}
	for m := 2; m <= n; m++ {
		next := make(nullScores, len(chance)+m-1)
		for k, p := range chance {
			for j := range m {
				next[k+j] += p / float64(m)
			}
		}
		chance = next
	}
	return chance
}

// atLeast returns P(S ≥ s): S is the number of pairs less twice that of the
// inversions.
func (c nullScores) atLeast(s int) float64 {
	pairs := len(c) - 1
	sum := 0.0
	for k := 0; k <= pairs && pairs-2*k >= s; k++ {
		sum += c[k]
	}
	return sum
}

// median of sorted values.
func median(sorted []float64) float64 {
	n := len(sorted)
	if n%2 == 1 {
		return sorted[n/2]
	}
	return (sorted[n/2-1] + sorted[n/2]) / 2
}
