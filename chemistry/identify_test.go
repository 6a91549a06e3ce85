// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"fmt"
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
	require.GreaterOrEqual(t, len(rows), 23)
	named, wrong := names(t, rows, truth)
	assert.Empty(t, wrong)
	assert.GreaterOrEqual(t, float64(named)/float64(len(rows)), 0.80, "%d of %d", named, len(rows))

	// The check can fail: with the densities of the rows half way to the other glycol's names go wrong or missing.
	for i := range rows {
		away := chemistry.KilogramPerLitre(-0.012)
		if truth[i] == chemistry.PropyleneGlycol {
			away = -away
		}
		rows[i].Density = new(*rows[i].Density + away)
	}
	named, wrong = names(t, rows, truth)
	assert.True(t, len(wrong) > 0 || float64(named)/float64(len(rows)) < 0.80, "%d named, wrong: %v", named, wrong)
}

// names asks for a name of every row, and returns how many got one and which got the wrong one.
func names(t *testing.T, rows []chemistry.IdentifyRequest, truth []chemistry.Fluid) (named int, wrong []string) {
	t.Helper()
	for i, r := range rows {
		id, err := chemistry.Identify(r)
		require.NoError(t, err)
		assert.InDelta(t, 1, id.Ethylene+id.Propylene+id.Mixture+id.Other, 1e-9)
		if id.Fluid != "" {
			named++
		}
		if id.Fluid != "" && id.Fluid != truth[i] || id.Other > 0.8 {
			wrong = append(wrong, fmt.Sprintf("%s: %+v", truth[i], id))
		}
	}
	return named, wrong
}

// TestIdentifyOthers: equal halves of both are not named as one, spirit and brine are neither, and one instrument is no answer.
func TestIdentifyOthers(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := chemistry.MassFraction(rapid.Float64Range(0.30, 0.55).Draw(t, "x"))
		var n, d float64
		for _, f := range glycols {
			p := props(t, f, x, 20)
			n, d = n+float64(p.RefractiveIndex20)/2, d+float64(p.Density)/2
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

// TestIdentifySaysWhatItTook: two scales of one instrument are no two instruments, water is called thin and not poison, a smell of alcohol
// stands beside a name, and what would settle it is what was not read yet.
func TestIdentifySaysWhatItTook(t *testing.T) {
	t.Parallel()
	identify := func(r chemistry.IdentifyRequest) chemistry.Identification {
		t.Helper()
		r.Sample = 20
		id, err := chemistry.Identify(r)
		require.NoError(t, err)
		return id
	}
	_, err := chemistry.Identify(chemistry.IdentifyRequest{Brix: brix(28), Index: index(1.379), Density: kgPerLitre(1.036), Sample: 20})
	require.ErrorContains(t, err, "not both")

	thin := identify(chemistry.IdentifyRequest{Brix: brix(0), Density: kgPerLitre(0.9982)})
	assert.Empty(t, thin.Fluid)
	assert.Contains(t, thin.Says, "water: too thin")
	salt := identify(chemistry.IdentifyRequest{Index: index(1.3333), Density: kgPerLitre(1.05)})
	assert.NotContains(t, salt.Says, "water: too thin")

	pure := identify(chemistry.IdentifyRequest{Brix: brix(28), Density: kgPerLitre(1.036)})
	smells := identify(chemistry.IdentifyRequest{Brix: brix(28), Density: kgPerLitre(1.036), Alcohol: true})
	assert.Equal(t, pure.Fluid, smells.Fluid)
	assert.NotContains(t, pure.Says, "burnable")
	assert.Contains(t, smells.Says, "burnable")

	assert.Contains(t, identify(chemistry.IdentifyRequest{Brix: brix(28), Density: kgPerLitre(1.0431)}).Says, "a freeze point seen by cooling a sample can settle it")
	assert.Contains(t, identify(chemistry.IdentifyRequest{Brix: brix(28), Freeze: celsius(-22)}).Says, "a density can settle it")
	all := identify(chemistry.IdentifyRequest{Brix: brix(28), Density: kgPerLitre(1.0431), Freeze: celsius(-21)})
	require.Empty(t, all.Fluid)
	assert.Contains(t, all.Says, "only a laboratory")
}

// TestIdentifyOtherLiquids: what else turns up is never named a glycol, by density and freeze point, from 10 % on.
func TestIdentifyOtherLiquids(t *testing.T) {
	t.Parallel()
	asked := 0
	for _, f := range chemistry.OtherLiquids() {
		for x := chemistry.MassFraction(0.10); x <= 0.50; x += 0.05 {
			p, err := chemistry.OtherProps(f, x, 20)
			if err != nil {
				continue // outside that liquid's table
			}
			id, err := chemistry.Identify(chemistry.IdentifyRequest{Density: &p.Density, Freeze: &p.Freeze.Stated, Sample: 20})
			require.NoError(t, err)
			asked++
			assert.Empty(t, id.Fluid, "%s %s: %+v", f, x, id)
		}
	}
	assert.Greater(t, asked, 30)
}
