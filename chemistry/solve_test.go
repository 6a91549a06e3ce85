// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
)

var glycols = []chemistry.Fluid{chemistry.EthyleneGlycol, chemistry.PropyleneGlycol}

// TestMonotone: over the whole valid range more glycol freezes colder, refracts more, and takes more volume; so the inverses have
// one answer. The grid is finer than any feature of the tables (1 mass %).
func TestMonotone(t *testing.T) {
	t.Parallel()
	const steps = 6000
	for _, f := range glycols {
		var last chemistry.Freeze
		var lastIndex chemistry.RefractiveIndex
		var lastVolume chemistry.VolumeFraction
		for i := range steps + 1 {
			x := chemistry.MaxMassFraction * chemistry.MassFraction(i) / steps
			z, err := chemistry.FreezePoint(f, x)
			require.NoError(t, err)
			n := props(t, f, x, 20).RefractiveIndex20
			v, err := chemistry.VolumeFractionOf(f, x)
			require.NoError(t, err)
			if i > 0 {
				require.Less(t, z.Stated, last.Stated, "%s %v", f, x)
				require.LessOrEqual(t, z.Melinder, last.Melinder, "%s %v", f, x)
				require.Less(t, z.ASHRAE, last.ASHRAE, "%s %v", f, x)
				require.Greater(t, n, lastIndex, "%s %v", f, x)
				require.Greater(t, v, lastVolume, "%s %v", f, x)
			}
			last, lastIndex, lastVolume = z, n, v
		}
	}
}

// TestInverses: solving and applying returns the target to 1e-9, for every quantity that is inverted.
func TestInverses(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(glycols).Draw(t, "fluid")
		x := chemistry.MassFraction(rapid.Float64Range(0, 0.60).Draw(t, "x"))

		z, err := chemistry.FreezePoint(f, x)
		require.NoError(t, err)
		back, err := chemistry.MassFractionForFreezePoint(f, z.Stated)
		require.NoError(t, err)
		again, err := chemistry.FreezePoint(f, back)
		require.NoError(t, err)
		if x > 2e-5 { // below 0.002 mass % Melinder's fit is cut off at 0 °C and every fraction is one
			assert.InDelta(t, float64(x), float64(back), 1e-9, "freeze point")
		}
		assert.InDelta(t, float64(z.Stated), float64(again.Stated), 1e-7)

		v, err := chemistry.VolumeFractionOf(f, x)
		require.NoError(t, err)
		back, err = chemistry.MassFractionOf(f, v)
		require.NoError(t, err)
		assert.InDelta(t, float64(x), float64(back), 1e-12, "volume")

		at := chemistry.Celsius(rapid.Float64Range(0, 40).Draw(t, "t"))
		n, err := chemistry.IndexAt(f, x, at)
		require.NoError(t, err)
		back, err = chemistry.MassFractionForIndex(f, n, at)
		require.NoError(t, err)
		assert.InDelta(t, float64(x), float64(back), 1e-9, "index")
	})
}

// TestDensityInverse: the density is inverted over the branch on which it rises. Ethylene glycol rises to 60 mass % everywhere;
// propylene glycol has its maximum below that when it is warm.
func TestDensityInverse(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(glycols).Draw(t, "fluid")
		at := chemistry.Celsius(rapid.Float64Range(0, 60).Draw(t, "t"))
		most := 0.60
		if f == chemistry.PropyleneGlycol {
			most = 0.45
		}
		x := chemistry.MassFraction(rapid.Float64Range(0, most).Draw(t, "x"))
		d, err := chemistry.Density(f, x, at)
		require.NoError(t, err)
		back, err := chemistry.MassFractionForDensity(f, d, at)
		require.NoError(t, err)
		assert.InDelta(t, float64(x), float64(back), 1e-9)
	})
}

// TestDensityRises proves the branch of [TestDensityInverse] on a fine grid.
func TestDensityRises(t *testing.T) {
	t.Parallel()
	for _, f := range glycols {
		most := 600
		if f == chemistry.PropyleneGlycol {
			most = 450
		}
		for at := chemistry.Celsius(0); at <= 60; at += 2.5 {
			var last chemistry.KilogramPerLitre
			for i := range most + 1 {
				d, err := chemistry.Density(f, chemistry.MassFraction(i)/1000, at)
				require.NoError(t, err)
				require.Greater(t, d, last, "%s %d ‰ %v", f, i, at)
				last = d
			}
		}
	}
}

// TestOutside: beyond a table there is no answer but the range and why it ends.
func TestOutside(t *testing.T) {
	t.Parallel()
	eg, pg, water := chemistry.EthyleneGlycol, chemistry.PropyleneGlycol, chemistry.TreatedWater
	for _, tt := range []struct {
		name string
		err  error
		want string
	}{
		{"eutectic", second(chemistry.FreezePoint(eg, 0.61)), "eutectic"},
		{"glass", second(chemistry.FreezePoint(pg, 0.61)), "glass"},
		{"frozen", second(chemistry.Density(pg, 0.30, -20)), "freeze point"},
		{"too hot", second(chemistry.Props(eg, 0.30, 101)), "100"},
		{"ice", second(chemistry.Density(water, 0, -1)), "water"},
		{"colder than any", second(chemistry.MassFractionForFreezePoint(eg, -60)), "eutectic"},
		{"frost with water", second(chemistry.MassFractionForFreezePoint(water, -5)), "glycol"},
		{"no such index", second(chemistry.MassFractionForIndex(pg, 1.45, 20)), "60 mass %"},
		{"no such density", second(chemistry.MassFractionForDensity(eg, 1.2, 20)), "kg/m³"},
		{"hot sample", second(chemistry.MassFractionForIndex(pg, 1.37, 70)), "room temperature"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			var outside *chemistry.RangeError
			require.ErrorAs(t, tt.err, &outside)
			assert.Contains(t, tt.err.Error(), tt.want)
		})
	}
}

func second[T any](_ T, err error) error { return err }
