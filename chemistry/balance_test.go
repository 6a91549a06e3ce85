// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

// loseAndLeak takes water and coolant evenly out of a loop in small steps and returns the strength that is left: physics alone.
func loseAndLeak(held, x, water, leaked float64) float64 {
	const steps = 400
	glycol, mass := held*x, held
	for range steps {
		glycol -= leaked / steps * glycol / mass
		mass -= (water + leaked) / steps
	}
	return glycol / mass
}

// TestSplitCovers: over 10 000 simulated loops with honest instruments the k = 2 intervals of water and of leak hold 95 % of the truths.
func TestSplitCovers(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 4))
	inWater, inLeak, n := 0, 0, 0
	for n < 10000 {
		f := glycols[rng.IntN(2)]
		held, x := 0.3+2.7*rng.Float64(), 0.25+0.2*rng.Float64()
		expected := 0.06 * held * rng.Float64()
		water, leaked := 0.08*held*rng.Float64(), 0.08*held*rng.Float64()
		known := rng.IntN(2) == 0
		if known {
			if water = expected * (1 + 0.5*rng.NormFloat64()); water < 0 {
				continue
			}
		}
		now := loseAndLeak(held, x, water, leaked)
		const ux, um = 0.004, 0.004
		r := chemistry.BalanceRequest{
			Fluid: f, Filled: chemistry.MassFraction(x + rng.NormFloat64()*ux/2), Now: chemistry.MassFraction(now + rng.NormFloat64()*ux/2),
			FilledUncertainty: ux, NowUncertainty: ux, Held: chemistry.Kilogram(held + rng.NormFloat64()*um/2), HeldUncertainty: um,
			Missing: chemistry.Kilogram(max(0, water+leaked+rng.NormFloat64()*um/2)), MissingUncertainty: um,
		}
		if known {
			r.Permeation = new(chemistry.Kilogram(expected))
		}
		b, err := chemistry.Split(r)
		require.NoError(t, err)
		n++
		if off := float64(b.Water) - water; off <= float64(b.WaterUncertainty) && -off <= float64(b.WaterUncertainty) {
			inWater++
		}
		if off := float64(b.Leaked) - leaked; off <= float64(b.LeakedUncertainty) && -off <= float64(b.LeakedUncertainty) {
			inLeak++
		}
	}
	assert.InDelta(t, 0.95, float64(inWater)/float64(n), 0.015)
	assert.InDelta(t, 0.95, float64(inLeak)/float64(n), 0.015)
}

// TestSplitNames: water alone, a leak alone, both, and what nobody can tell.
func TestSplitNames(t *testing.T) {
	t.Parallel()
	ask := func(water, leaked float64, more ...func(*chemistry.BalanceRequest)) chemistry.Balance {
		r := chemistry.BalanceRequest{
			Fluid: chemistry.PropyleneGlycol, Filled: 0.35, Now: chemistry.MassFraction(loseAndLeak(1, 0.35, water, leaked)), FilledUncertainty: 0.004,
			NowUncertainty: 0.004, Held: 1, HeldUncertainty: 0.002, Missing: chemistry.Kilogram(water + leaked), MissingUncertainty: 0.002,
		}
		for _, m := range more {
			m(&r)
		}
		b, err := chemistry.Split(r)
		require.NoError(t, err)
		return b
	}
	evaporated := ask(0.08, 0)
	assert.True(t, evaporated.Evaporates)
	assert.False(t, evaporated.Leaks)
	leaks := ask(0, 0.08)
	assert.True(t, leaks.Leaks)
	assert.False(t, leaks.Evaporates)
	assert.Contains(t, leaks.Says, "until a leak check stays dry")
	both := ask(0.08, 0.08)
	assert.True(t, both.Evaporates && both.Leaks, "%+v", both)
	assert.Contains(t, both.Says, "it evaporates and it leaks")
	assert.InDelta(t, 0.08, float64(both.Water), 0.001)
	little := ask(0.005, 0.005)
	assert.Contains(t, little.Says, "cannot tell")
	estimated := ask(0.02, 0.02, func(r *chemistry.BalanceRequest) { r.Permeation = new(chemistry.Kilogram(0.02)) })
	assert.Less(t, float64(estimated.WaterUncertainty), float64(ask(0.02, 0.02).WaterUncertainty), "an estimate narrows it")
	_, err := chemistry.Split(chemistry.BalanceRequest{Fluid: chemistry.TreatedWater, Held: 1})
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
}

// TestSplitOfWhatCannotBe: figures that do not go together are called so, and name no evaporation; no instrument is exact; what was not
// said to be unsure is said to be taken as exact; and no amount below nothing is printed.
func TestSplitOfWhatCannotBe(t *testing.T) {
	t.Parallel()
	ask := func(now chemistry.MassFraction, missing chemistry.Kilogram, u chemistry.MassFraction) (chemistry.Balance, error) {
		return chemistry.Split(chemistry.BalanceRequest{
			Fluid: chemistry.PropyleneGlycol, Filled: 0.35, Now: now, FilledUncertainty: u, NowUncertainty: u, Held: 1, Missing: missing,
		})
	}
	stronger, err := ask(0.45, 0, 0.004)
	require.NoError(t, err)
	assert.False(t, stronger.Evaporates)
	assert.False(t, stronger.Leaks)
	assert.Contains(t, stronger.Says, "do not go together")
	assert.Contains(t, stronger.Says, "concentrate was added")

	weaker, err := ask(0.33, 0.15, 0.004)
	require.NoError(t, err)
	assert.False(t, weaker.Evaporates)
	assert.True(t, weaker.Leaks, "a leak that the figures show stands")
	assert.Contains(t, weaker.Says, "water was added")

	water, err := ask(0.412, 0.15, 0.004)
	require.NoError(t, err)
	assert.NotContains(t, water.Says, "-")
	assert.Regexp(t, `coolant leaked: at most 1\d g`, water.Says)
	assert.Equal(t, "propylene glycol, 35.0 mass % at the fill and 41.2 mass % now, ± 0.4 and ± 0.4 (k = 2); it held 1 kg, taken as exact; 150 g are missing, taken as exact", water.Taken)
	_, err = ask(0.412, 0.15, 0)
	require.ErrorContains(t, err, "no instrument is exact")
}
