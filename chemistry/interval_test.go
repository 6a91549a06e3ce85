// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func nan() float64 { return math.NaN() }

// TestMixIntervalHolds: the k = 2 interval of a mix holds 95 ± 1 % of the truth when the concentrate's strength and what was left in
// the loop are off (Monte Carlo against the first-order propagation).
func TestMixIntervalHolds(t *testing.T) {
	t.Parallel()
	const draws = 20000
	pg := chemistry.PropyleneGlycol
	r := chemistry.MixRequest{
		Fluid: pg, Protect: celsius(-15), Make: 0.5, Concentrate: 0.93, ConcentrateUncertainty: 0.02, Bench: 20,
		Left: 0.040, LeftUncertainty: 0.020,
	}
	res, err := chemistry.Mix(r)
	require.NoError(t, err)
	var concentrate, total float64
	for _, p := range res.Parts {
		if p.Name == chemistry.PartConcentrate {
			concentrate = float64(p.Mass)
		}
		total += float64(p.Mass)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	inside := 0
	for range draws {
		strength := 0.93 + rng.NormFloat64()*0.02/2
		left := (0.040 + rng.NormFloat64()*0.020/2) * 0.9982 // water at 20 °C
		z, err := chemistry.FreezePoint(pg, chemistry.MassFraction(concentrate*strength/(total+left)))
		require.NoError(t, err)
		own, err := chemistry.FreezePoint(pg, res.Result.Mass)
		require.NoError(t, err)
		truth := z.Stated + chemistry.Celsius(rng.NormFloat64()*float64(own.Uncertainty)/2)
		if d := chemistry.CelsiusDelta(truth - res.Result.Freeze.Stated); d <= res.Result.Freeze.Uncertainty && -d <= res.Result.Freeze.Uncertainty {
			inside++
		}
	}
	assert.InDelta(t, 0.95, float64(inside)/draws, 0.01)
}

// TestTopUpIntervalHolds is the same for a top-up with an uncertain charge of uncertain volume.
func TestTopUpIntervalHolds(t *testing.T) {
	t.Parallel()
	const draws = 20000
	eg := chemistry.EthyleneGlycol
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: eg, Mass: mass(0.32), MassUncertainty: 0.02, Holds: 0.50, HoldsUncertainty: 0.05, Room: 0.20, Protect: celsius(-15),
		With: []chemistry.Liquid{concentrate(eg), water()},
	})
	require.NoError(t, err)
	d, err := chemistry.Density(eg, 0.32, 20)
	require.NoError(t, err)
	var added, glycol float64
	for _, s := range v.Steps {
		if s.Do == "add" {
			added += float64(s.Mass)
			if s.What == "concentrate" {
				glycol += 0.95 * float64(s.Mass)
			}
		}
	}
	require.Positive(t, added)
	own, err := chemistry.FreezePoint(eg, v.After.Mass)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(5, 6))
	inside := 0
	for range draws {
		x := 0.32 + rng.NormFloat64()*0.02/2
		m := float64(d) * (0.50 + rng.NormFloat64()*0.05/2)
		z, err := chemistry.FreezePoint(eg, chemistry.MassFraction((m*x+glycol)/(m+added)))
		require.NoError(t, err)
		truth := z.Stated + chemistry.Celsius(rng.NormFloat64()*float64(own.Uncertainty)/2)
		if d := chemistry.CelsiusDelta(truth - v.After.Freeze.Stated); d <= v.After.Freeze.Uncertainty && -d <= v.After.Freeze.Uncertainty {
			inside++
		}
	}
	assert.InDelta(t, 0.95, float64(inside)/draws, 0.01)
}

// TestHydrometerIntervalHolds is the same for a hydrometer in a pure mixture.
func TestHydrometerIntervalHolds(t *testing.T) {
	t.Parallel()
	const draws = 20000
	for _, f := range glycols {
		d, err := chemistry.Density(f, 0.35, 22)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(7, 8))
		inside := 0
		for range draws {
			// The table is good to 0.15 %, the instrument to 1 kg/m³ (both k = 2).
			shown := float64(d)*(1+rng.NormFloat64()*0.0015/2) + rng.NormFloat64()*0.001/2
			r := read(t, chemistry.ReadingRequest{Fluid: f, Density: kgPerLitre(shown), Sample: 22})
			if off := r.Mass - 0.35; off <= r.MassUncertainty && -off <= r.MassUncertainty {
				inside++
			}
		}
		assert.InDelta(t, 0.95, float64(inside)/draws, 0.01, f)
	}
}

// TestChainIntervalHolds follows a reading into a top-up: the loop's true strength is fixed, the instrument and the volume err,
// the reading with its interval goes into the check, and the interval of what is then in the loop holds the truth. This is what
// happens at a bench, where the two are never apart.
func TestChainIntervalHolds(t *testing.T) {
	t.Parallel()
	const draws = 5000
	for _, tt := range []struct {
		fluid chemistry.Fluid
		x     float64
		fit   float64 // uncertainty of the index table, k = 2
	}{{chemistry.PropyleneGlycol, 0.33, 3.0e-4}, {chemistry.EthyleneGlycol, 0.30, 1.0e-4}} {
		trueIndex, err := chemistry.IndexAt(tt.fluid, chemistry.MassFraction(tt.x), 20)
		require.NoError(t, err)
		d, err := chemistry.Density(tt.fluid, chemistry.MassFraction(tt.x), 20)
		require.NoError(t, err)
		rng := rand.New(rand.NewPCG(9, 10))
		inside := 0
		for range draws {
			shown := float64(trueIndex) + rng.NormFloat64()*0.0010/2 + rng.NormFloat64()*tt.fit/2
			r := read(t, chemistry.ReadingRequest{Fluid: tt.fluid, Index: index(shown), Sample: 20, Instrument: 0.0010})
			v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
				Fluid: tt.fluid, Mass: &r.Mass, MassUncertainty: r.MassUncertainty, Holds: 0.50, HoldsUncertainty: 0.04, Room: 0.15,
				With: []chemistry.Liquid{concentrate(tt.fluid), water()}, Protect: celsius(-12),
			})
			require.NoError(t, err)
			var added, glycol float64
			for _, s := range v.Steps {
				require.NotEqual(t, "drain", s.Do)
				added += float64(s.Mass)
				if s.What == "concentrate" {
					glycol += 0.95 * float64(s.Mass)
				}
			}
			m := float64(d) * (0.50 + rng.NormFloat64()*0.04/2)
			z, err := chemistry.FreezePoint(tt.fluid, chemistry.MassFraction((m*tt.x+glycol)/(m+added)))
			require.NoError(t, err)
			truth := z.Stated + chemistry.Celsius(rng.NormFloat64()*float64(z.Uncertainty)/2)
			if off := chemistry.CelsiusDelta(truth - v.After.Freeze.Stated); off <= v.After.Freeze.Uncertainty && -off <= v.After.Freeze.Uncertainty {
				inside++
			}
		}
		assert.InDelta(t, 0.95, float64(inside)/draws, 0.01, tt.fluid)
	}
}
