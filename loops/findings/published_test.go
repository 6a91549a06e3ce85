// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/findings"
)

// The figures below are printed ones. The tolerance is half a unit of the last
// printed digit unless said otherwise.

// Meeker and Escobar, Statistical Methods for Reliability Data (1998), example
// 8.16, p. 193: bearing cage, 6 of 1703 failed. Shape and B10 with its 95 %
// likelihood-ratio interval, as quoted with the test data of a public Weibull
// program; the interval there agrees with ours to one in two thousand only.
func TestPublishedBearingCage(t *testing.T) {
	t.Parallel()
	l := lives(t, "bearingcage", "")
	assert.Equal(t, 1703, l.N())
	w, err := findings.FitWeibull(l)
	require.NoError(t, err)
	assert.InDelta(t, 2.035, w.Shape, 0.0005)
	assert.InDelta(t, 11792.178, w.Scale, 0.0005)
	assert.InDelta(t, -76.436896, w.LogLik, 0.0000005)
	assert.InDelta(t, 3903, w.Life(0.10), 0.5)
	limits := w.LifeLimits(0.10, 0.95)
	assert.InEpsilon(t, 2093, limits.Lower, 0.001)
	assert.InDelta(t, 22144, limits.Upper, 0.5)
}

// Freireich et al., Blood 21 (1963) 699, the 6-MP trial: log-rank 16.79 and
// median 23 in every textbook on survival (from memory).
func TestPublishedRemissions(t *testing.T) {
	t.Parallel()
	l := lives(t, "leuk6mp", "")
	c, err := findings.LogRank(l)
	require.NoError(t, err)
	assert.InDelta(t, 16.79, c.ChiSquare, 0.005)
	curve, err := findings.KaplanMeier(l.InGroup("6MP"))
	require.NoError(t, err)
	assert.Equal(t, 23.0, curve.Median().Value)
}

// Lieblein and Zelen, J. Res. Natl. Bur. Stand. 57 (1956) 273: 23 ball
// bearings. Shape 2.10 and scale 81.9 million turns (from memory, as in
// Lawless, Statistical Models and Methods for Lifetime Data).
func TestPublishedBallBearings(t *testing.T) {
	t.Parallel()
	w, err := findings.FitWeibull(lives(t, "lzbearing", ""))
	require.NoError(t, err)
	assert.InDelta(t, 2.10, w.Shape, 0.005)
	assert.InDelta(t, 81.9, w.Scale, 0.05)
}

// Meeker and Escobar (1998), table 3.2: heat exchanger tubes, share cracked by
// the first, second and third inspection (from memory).
func TestPublishedHeatExchanger(t *testing.T) {
	t.Parallel()
	e, err := findings.Turnbull(lives(t, "heatexchanger", ""))
	require.NoError(t, err)
	for i, want := range []float64{0.0133, 0.0384, 0.0582} {
		assert.InDelta(t, want, 1-e.Cells[i].Survival, 0.00005)
	}
}

// Fay and Shaw, J. Stat. Softw. 36 (2010) 2: the cosmesis data with
// radiotherapy alone, first and last mass (from memory).
func TestPublishedCosmesis(t *testing.T) {
	t.Parallel()
	e, err := findings.Turnbull(lives(t, "cosmesis_rt", ""))
	require.NoError(t, err)
	assert.InDelta(t, 0.0463, e.Cells[0].Mass, 0.00005)
	assert.InDelta(t, 0.4656, e.Cells[len(e.Cells)-1].Mass, 0.00005)
}

// The zero-failure sample sizes of reliability demonstration: 22 for 90 %
// reliability at 90 % confidence, 29 for 90 % at 95 % (common tables).
func TestPublishedZeroFailureTests(t *testing.T) {
	t.Parallel()
	for confidence, want := range map[float64]int{0.90: 22, 0.95: 29} {
		n, err := findings.ZeroFailureN(0.10, confidence)
		require.NoError(t, err)
		assert.Equal(t, want, n)
	}
}
