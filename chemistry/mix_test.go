// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func TestMixReachesTarget(t *testing.T) {
	t.Parallel()
	r, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Protect: new(chemistry.Celsius(-20)), Make: 0.6, Concentrate: 0.95, Bench: 20,
	})
	require.NoError(t, err)
	assert.InDelta(t, -25, float64(r.Target.Freeze.Stated), 1e-6, "wall less the default margin of 5 K")
	assert.InDelta(t, float64(r.Target.Mass), float64(r.Result.Mass), 0.001, "half a gram of 290 g")
	assert.InDelta(t, 600, r.Total.Volume.Millilitres(), 1, "half a gram per part")

	var mass chemistry.Kilogram
	var volume chemistry.Litre
	for _, p := range r.Parts {
		mass += p.Mass
		volume += p.Volume
		grams := p.Mass.Grams()
		assert.InDelta(t, grams, float64(int(grams+0.5)), 1e-9, "whole grams")
	}
	assert.InDelta(t, float64(r.Total.Mass), float64(mass), 1e-12)
	assert.InDelta(t, float64(r.Total.Volume+r.Contraction), float64(volume), 1e-12)
}

// TestMixLeftInLoop: 15 ml of water left in a 90 ml loop costs 40 mass % propylene glycol about 5 K (mass balance).
func TestMixLeftInLoop(t *testing.T) {
	t.Parallel()
	r, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.40)), Make: 0.075, Concentrate: 0.95,
		Bench: 20, Left: 0.015, Step: 0.0001,
	})
	require.NoError(t, err)
	assert.InDelta(t, 0.40, float64(r.Result.Mass), 0.001)
	assert.Greater(t, r.Poured.Mass, r.Target.Mass)
	assert.InDelta(t, 5.4, float64(r.Uncompensated.Freeze.Stated-r.Target.Freeze.Stated), 0.3)
}

func TestMixInfeasible(t *testing.T) {
	t.Parallel()
	_, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.EthyleneGlycol, Mass: new(chemistry.MassFraction(0.50)), Make: 1, Premix: 0.45, Bench: 20,
	})
	var infeasible *chemistry.InfeasibleError
	require.ErrorAs(t, err, &infeasible)
	assert.InDelta(t, 0.45, float64(infeasible.Nearest.Result.Mass), 1e-9)
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
}

func TestMixRefuses(t *testing.T) {
	t.Parallel()
	ok := chemistry.MixRequest{
		Fluid: chemistry.EthyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Make: 1, Concentrate: 0.95, Bench: 20,
	}
	for _, tt := range []struct {
		name   string
		change func(*chemistry.MixRequest)
		field  string // "" for a RangeError
	}{
		{"no fluid", func(r *chemistry.MixRequest) { r.Fluid = "" }, "fluid"},
		{"two targets", func(r *chemistry.MixRequest) { r.Protect = new(chemistry.Celsius(-20)) }, "target"},
		{"no amount", func(r *chemistry.MixRequest) { r.Make = 0 }, "make"},
		{"percent for fraction", func(r *chemistry.MixRequest) { r.Concentrate = 95 }, "concentrate"},
		{"beyond table", func(r *chemistry.MixRequest) { r.Mass = new(chemistry.MassFraction(0.61)) }, ""},
		{"frozen bench", func(r *chemistry.MixRequest) { r.Bench = -5 }, ""},
		{"nothing freezes", func(r *chemistry.MixRequest) { r.Mass, r.Protect = nil, new(chemistry.Celsius(20)) }, "protect"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := ok
			tt.change(&r)
			_, err := chemistry.Mix(r)
			var invalid *chemistry.InvalidError
			var outside *chemistry.RangeError
			if tt.field == "" {
				require.ErrorAs(t, err, &outside)
				return
			}
			require.ErrorAs(t, err, &invalid)
			assert.Equal(t, tt.field, invalid.Field)
		})
	}
}
