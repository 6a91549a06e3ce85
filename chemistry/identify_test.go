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

// blinded are published rows from 25 to 55 mass % (products: 30 to 55 % of the product) as two instruments would show them: index and
// density of the CRC Handbook and of MacBeth and Thompson or Gerke with Melinder's density, and freeze point and density of products.
func blinded(t *testing.T) (rows []chemistry.IdentifyRequest, truth []chemistry.Fluid) {
	t.Helper()
	density := make(map[string]float64)
	for _, r := range checkRows(t, "vol_mass.csv") {
		column := 4 // rho_crc
		if r[0] == "PG" {
			column = 3
		}
		if r[column] != "" {
			density[r[0]+" "+r[2]] = float(t, r[column]) / 1000
		}
	}
	for _, r := range checkRows(t, "refractive.csv") {
		percent := r[1]
		if x := float(t, percent); x < 25 || x > 55 || r[2] != "20" || r[5] == "correlation" {
			continue
		}
		if d, ok := density[r[0]+" "+trimZero(percent)]; ok {
			rows = append(rows, chemistry.IdentifyRequest{Index: index(float(t, r[3])), Density: kgPerLitre(d), Sample: 20})
			truth = append(truth, fluidOf[r[0]])
		}
	}
	for _, r := range checkRows(t, "products.csv") {
		if s := float(t, r[2]); r[4] != "" && s >= 30 && s <= 55 {
			rows = append(rows, chemistry.IdentifyRequest{Freeze: celsius(float(t, r[3])), Density: kgPerLitre(float(t, r[4]) / 1000), Sample: 20})
			truth = append(truth, chemistry.Fluid(r[1]))
		}
	}
	return rows, truth
}

func trimZero(s string) string {
	if n := len(s); n > 2 && s[n-2:] == ".0" {
		return s[:n-2]
	}
	return s
}

// TestIdentifyBlinded: no published row between 25 and 55 % gets the wrong name, and at least four of five get one.
func TestIdentifyBlinded(t *testing.T) {
	t.Parallel()
	rows, truth := blinded(t)
	named := 0
	for i, r := range rows {
		id, err := chemistry.Identify(r)
		require.NoError(t, err)
		assert.InDelta(t, 1, id.Ethylene+id.Propylene+id.Mixture+id.Other, 1e-9)
		assert.NotContains(t, id.Says, "neither", "%+v", id)
		if id.Fluid == "" {

			continue
		}
		named++
		assert.Equal(t, truth[i], id.Fluid, "%+v", id)
	}
	require.GreaterOrEqual(t, len(rows), 23)
	assert.GreaterOrEqual(t, float64(named)/float64(len(rows)), 0.80, "%d of %d", named, len(rows))
}

// TestIdentifyOthers: equal halves of both are not named as one, spirit and brine are neither, and one instrument is no answer.
func TestIdentifyOthers(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := chemistry.MassFraction(rapid.Float64Range(0.30, 0.55).Draw(t, "x"))
		var n, d float64
		for _, f := range glycols {
			index, err := chemistry.RefractiveIndex20(f, x)
			require.NoError(t, err)
			density, err := chemistry.Density(f, x, 20)
			require.NoError(t, err)
			n, d = n+float64(index)/2, d+float64(density)/2
		}
		id, err := chemistry.Identify(chemistry.IdentifyRequest{Index: index(n), Density: kgPerLitre(d), Sample: 20})
		require.NoError(t, err)
		assert.Empty(t, id.Fluid, "%+v", id)
	})
	// 40 mass % ethanol: 0.9352 kg/l, nD 1.3583; 20 % calcium chloride: 1.1775 kg/l, nD 1.3838 (CRC Handbook, from memory).
	for _, r := range []chemistry.IdentifyRequest{
		{Index: index(1.3583), Density: kgPerLitre(0.9352), Sample: 20},
		{Index: index(1.3838), Density: kgPerLitre(1.1775), Sample: 20},
	} {
		id, err := chemistry.Identify(r)
		require.NoError(t, err)
		assert.Greater(t, id.Other, 0.99)
		assert.Contains(t, id.Says, "neither glycol")
	}
	_, err := chemistry.Identify(chemistry.IdentifyRequest{Brix: brix(28), Sample: 20})
	require.ErrorContains(t, err, "two of Brix")
	_, err = chemistry.Identify(chemistry.IdentifyRequest{Brix: brix(28), Density: kgPerLitre(1.04), Sample: 30})
	require.ErrorContains(t, err, "18 to 22")
	assert.Len(t, chemistry.UnknownLiquid(), 5)
}
