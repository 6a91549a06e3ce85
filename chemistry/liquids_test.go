// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

// TestOtherLiquids: the further liquids freeze and weigh as their table and handbooks say, carry their cautions, and are recommended
// nowhere. Freeze points: a copy of the same set, for the transcription. Densities at 20 °C: CRC Handbook, Concentrative Properties of
// Aqueous Solutions (from memory, three digits), an independent author.
func TestOtherLiquids(t *testing.T) {
	t.Parallel()
	rows := 0
	for _, r := range checkRows(t, "melinder_more_freeze.csv") {
		p, err := chemistry.OtherProps(chemistry.Fluid(r[0]), chemistry.MassFraction(float(t, r[1])/100), 0)
		require.NoError(t, err)
		assert.InDelta(t, float(t, r[2]), float64(p.Freeze.Stated), 1, "two fits of one author: %v", r)
		rows++
	}
	assert.Equal(t, 43, rows)
	for _, tt := range []struct {
		fluid     chemistry.Fluid
		x         chemistry.MassFraction
		d, within float64
	}{
		{"ethanol", 0.40, 0.935, 0.003}, {"methanol", 0.40, 0.935, 0.004}, {"glycerol", 0.50, 1.126, 0.003}, {"brine", 0.20, 1.178, 0.004},
		{"acetate", 0.30, 1.155, 0.010}, {"formate", 0.40, 1.259, 0.012},
	} {
		p, err := chemistry.OtherProps(tt.fluid, tt.x, 20)
		require.NoError(t, err)
		assert.InDelta(t, tt.d, float64(p.Density), tt.within, tt.fluid)
		assert.Contains(t, p.Caution.Text, "Not for electronics")
		assert.Greater(t, float64(p.Viscosity), 1.0)
	}
	for _, f := range chemistry.OtherLiquids() {
		reasons, err := chemistry.CheckFill(chemistry.FillRequest{Contents: chemistry.Contents{Fluid: f}})
		require.NoError(t, err)
		assert.Equal(t, chemistry.Stop, chemistry.Judge(reasons), f)
		_, err = chemistry.Mix(chemistry.MixRequest{Fluid: f, Mass: mass(0.3), Make: 1, Concentrate: 0.9, Bench: 20})
		var invalid *chemistry.InvalidError
		require.ErrorAs(t, err, &invalid, "never recommended")
		got, err := chemistry.ParseAnyFluid(string(f))
		require.NoError(t, err)
		assert.Equal(t, f, got)
		_, err = chemistry.ParseFluid(string(f))
		require.ErrorAs(t, err, &invalid)
	}
	_, err := chemistry.OtherProps("ethanol", 0.70, 20)
	var outside *chemistry.RangeError
	require.ErrorAs(t, err, &outside)
}

// TestUnknownLiquid: five lines and nothing of any one charge, not the statements of ethylene glycol either.
func TestUnknownLiquid(t *testing.T) {
	t.Parallel()
	c := chemistry.Cautions(chemistry.Contents{})
	require.Len(t, c, 1)
	assert.Empty(t, c[0].H)
	assert.Empty(t, c[0].Signal)
	for _, line := range chemistry.UnknownLiquid()[1:] {
		assert.Contains(t, c[0].Text, line)
	}
	assert.NotContains(t, c[0].Text, "sweet")
	assert.Equal(t, append(chemistry.UnknownLiquid(), chemistry.Deferral), c[0].Lines)
	assert.Empty(t, chemistry.Cautions(chemistry.Contents{Fluid: chemistry.PropyleneGlycol})[0].Lines)
}

// TestBiocideOfUnknownFamily: what nobody knows of a biocide takes no caution away.
func TestBiocideOfUnknownFamily(t *testing.T) {
	t.Parallel()
	c := chemistry.Cautions(chemistry.Contents{Fluid: chemistry.TreatedWater, Additives: []chemistry.Additive{{Family: chemistry.Family{Kind: chemistry.KindBiocide}}}})
	require.Len(t, c, 2)
	assert.Contains(t, c[1].OwnerText, "bare hands")
	assert.Contains(t, c[1].Text, "safety data sheet at hand")
	assert.Len(t, chemistry.Cautions(chemistry.Contents{Fluid: chemistry.TreatedWater}), 1)
}
