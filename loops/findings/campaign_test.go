// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
	"fillmark/testdata/seeded"
)

// campaign tells how many runs a simulation makes: few as a rule, all of them
// with FILLMARK_CAMPAIGN=full. The seeds are fixed, so that a run repeats.
func campaign(short, full int) int {
	if seeded.Long() {
		return full
	}
	return short
}

// workshop draws the lives of n loops whose true distribution is Weibull with
// the scale 48: each is followed to a look after about the span given, with
// looks every six months, and half of the failures are only found at the next
// one. Nothing is noticed after the last look, or late failures would be booked
// more often than late survivals.
func workshop(rng *rand.Rand, n int, shape, span float64) []findings.Life {
	const every = 6
	var rows []findings.Life
	for range n {
		age := 48 * math.Pow(rng.ExpFloat64(), 1/shape)
		watched := math.Round(span*(0.5+rng.Float64())/every) * every
		l := findings.Life{Count: 1, Lower: watched, Upper: math.Inf(1)}
		if age < watched {
			l.Lower, l.Upper = age, age
			if rng.IntN(2) == 0 {
				l.Lower = math.Floor(age/every) * every
				l.Upper = l.Lower + every
			}
		}
		rows = append(rows, l)
	}
	return rows
}

// TestCampaignB10Bound measures how often the hybrid lower bound of B10 is
// below the truth, unconditionally: the level promised is 95 %. The short run
// allows each scenario twice the standard error of so few runs, and holds all
// of them together to 94 %.
func TestCampaignB10Bound(t *testing.T) {
	t.Parallel()
	runs := campaign(250, 20000)
	all, scenarios := 0, 0
	for _, shape := range []float64{1, 1.5, 2, 3, 4} {
		for _, n := range []int{10, 30, 100} {
			for _, span := range []float64{18, 40} {
				name := fmt.Sprintf("shape %g n %d span %g", shape, n, span)
				rng := rand.New(rand.NewPCG(uint64(1000*shape+span), uint64(n)))
				covered, failures, ratio := coverB10(t, rng, runs, n, shape, span)
				got := float64(covered) / float64(runs)
				t.Logf("%s: covered %.1f %%, mean failures %.1f, mean bound %.2f of the truth", name, 100*got, failures, ratio)
				allowed := 0.0
				if runs < 20000 {
					allowed = 2 * math.Sqrt(0.05*0.95/float64(runs))
				}
				assert.GreaterOrEqual(t, got, 0.94-allowed, name)
				all, scenarios = all+covered, scenarios+1
			}
		}
	}
	assert.GreaterOrEqual(t, float64(all)/float64(runs*scenarios), 0.94)
}

// coverB10 counts how many bounds are at most the true B10, and means of the
// failures and of the bound over the truth.
func coverB10(t *testing.T, rng *rand.Rand, runs, n int, shape, span float64) (covered int, failures, ratio float64) {
	t.Helper()
	truth := 48 * math.Pow(-math.Log(0.9), 1/shape)
	for range runs {
		l, err := findings.NewLives(workshop(rng, n, shape, span))
		require.NoError(t, err)
		fit, err := findings.FitWeibull(l)
		if err != nil {
			fit = nil
		}
		bound := findings.LowerLife(l, fit, 0.10)
		require.False(t, math.IsNaN(bound), "%v", l.Rows())
		failures += float64(l.Failures()) / float64(runs)
		ratio += bound / truth / float64(runs)
		if bound <= truth {
			covered++
		}
	}
	return covered, failures, ratio
}
