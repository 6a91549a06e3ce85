// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

// TestErrorsSay: an error names the value and what would be right, in the caller's words where there are some.
func TestErrorsSay(t *testing.T) {
	t.Parallel()
	_, err := chemistry.ParseCelsius("20K")
	require.EqualError(t, err, `value "20K": a temperature such as -20C or 68F; K is a temperature difference here`)
	require.EqualError(t, chemistry.InField(err, "--at"), `--at "20K": a temperature such as -20C or 68F; K is a temperature difference here`)
	other := errors.New("other")
	assert.Equal(t, other, chemistry.InField(other, "--at"))

	_, err = chemistry.MassFractionForFreezePoint(chemistry.PropyleneGlycol, -65)
	assert.ErrorContains(t, err, "-65 °C is outside -50 to 0 °C")

	_, err = chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.4), Make: 0.6, Premix: 0.3, Bench: 20})
	assert.ErrorContains(t, err, "the strongest liquid at hand is 30.0 mass %")
	assert.ErrorContains(t, err, "nearest that can be made: 30.0 mass %")

	// Rich liquid left behind cannot be thinned to almost nothing.
	_, err = chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Mass: mass(0.05), Make: 0.1, Concentrate: 0.95, Bench: 20, Left: 0.05, LeftMass: 0.5,
	})
	assert.ErrorContains(t, err, "too strong to be thinned")

	// Weak liquid left behind would need more than 60 mass %.
	_, err = chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Mass: mass(0.5), Make: 0.1, Concentrate: 0.95, Bench: 20, Left: 0.1,
	})
	assert.ErrorContains(t, err, "above 60 mass %")
}

// TestFreezeCurve: the points of the plot are the stated freeze point, from water to the end of the tables.
func TestFreezeCurve(t *testing.T) {
	t.Parallel()
	points := chemistry.FreezeCurve(chemistry.EthyleneGlycol, 61)
	require.Len(t, points, 61)
	assert.Zero(t, points[0].Freeze.Stated)
	assert.InDelta(t, 0.60, float64(points[60].Mass), 1e-12)
	assert.InDelta(t, -48.3, float64(points[60].Freeze.Stated), 0.05, "ASHRAE, 60 mass %")
	assert.Nil(t, chemistry.FreezeCurve(chemistry.TreatedWater, 61))
	assert.Nil(t, chemistry.FreezeCurve(chemistry.EthyleneGlycol, 1))
}

// TestNames: what is listed is what is read.
func TestNames(t *testing.T) {
	t.Parallel()
	for _, f := range chemistry.Fluids() {
		got, err := chemistry.ParseFluid(string(f))
		require.NoError(t, err)
		assert.Equal(t, f, got)
		got, err = chemistry.ParseFluid(f.Name())
		require.NoError(t, err)
		assert.Equal(t, f, got)
	}
	for _, m := range chemistry.Metals() {
		got, err := chemistry.ParseMetal(string(m))
		require.NoError(t, err)
		assert.Equal(t, m, got)
	}
	for _, i := range chemistry.Inhibitors() {
		got, err := chemistry.ParseInhibitor(string(i))
		require.NoError(t, err)
		assert.Equal(t, i, got)
	}
	for _, b := range chemistry.Biocides() {
		got, err := chemistry.ParseBiocide(string(b))
		require.NoError(t, err)
		assert.Equal(t, b, got)
	}
	unknown, err := chemistry.ParseInhibitor("unknown")
	require.NoError(t, err)
	assert.Empty(t, unknown)
	_, err = chemistry.ParseFluid("oil")
	assert.ErrorContains(t, err, "deionised")
}

// TestBoundsSayTheirUnit: a figure out of its bounds is told with its unit.
func TestBoundsSayTheirUnit(t *testing.T) {
	t.Parallel()
	_, err := chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.35), Holds: 2e5, Room: 0.05})
	require.EqualError(t, err, `holds "200000 l": must be more than nothing and at most 100000 l`)
	_, err = chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.4), Make: 0.6, Concentrate: 0.95, Bench: 20, Step: 20})
	require.EqualError(t, err, `step "20 kg": must be 0.001 g to 10 kg`)
	_, _, err = chemistry.Dose{Name: "biocide", Volume: 0.6}.Amount(1, 0)
	require.EqualError(t, err, `dose "60 vol %": must be 0 to 50 vol %`)
}
