// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func TestCheckWater(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	good := chemistry.WaterReport{Chloride: new(10.0), Sulfate: new(12.0), Hardness: new(80.0), Calcium: new(20.0), Magnesium: new(5.0)}
	lines, verdict, err := chemistry.CheckWater(good, pg, "dilution")
	require.NoError(t, err)
	assert.Equal(t, chemistry.Go, verdict)
	assert.Len(t, lines, 5)

	salty := good
	salty.Chloride = new(40.0)
	lines, verdict, err = chemistry.CheckWater(salty, pg, "dilution")
	require.NoError(t, err)
	assert.Equal(t, chemistry.Stop, verdict)
	for _, l := range lines {
		assert.NotEmpty(t, l.Source)
		if l.Parameter == "chloride" {
			assert.Equal(t, chemistry.Stop, l.Verdict)
		}
	}

	// The same water, another source: 40 mg/l is what the engine maker allows. Not measured is care.
	_, verdict, err = chemistry.CheckWater(salty, pg, "engine")
	require.NoError(t, err)
	assert.Equal(t, chemistry.Care, verdict, "pH is missing")

	// Limits from memory never stop.
	salty.PH, salty.Chloride = new(7.0), new(1000.0)
	_, verdict, err = chemistry.CheckWater(salty, pg, "predilute")
	require.NoError(t, err)
	assert.Equal(t, chemistry.Care, verdict)

	var invalid *chemistry.InvalidError
	_, _, err = chemistry.CheckWater(good, pg, "chiller")
	require.ErrorAs(t, err, &invalid, "that set is meant for water")
	salty.PH = new(15.0)
	_, _, err = chemistry.CheckWater(salty, pg, "predilute")
	require.ErrorAs(t, err, &invalid)
}

// TestCoolantInUse: the same pH is fine by one source and not by another, so the source is chosen and named.
func TestCoolantInUse(t *testing.T) {
	t.Parallel()
	worn := chemistry.WaterReport{PH: new(6.5)}
	for use, want := range map[string]chemistry.Verdict{"lenient-in-use": chemistry.Go, "solar-in-use": chemistry.Stop, "lab-chiller-in-use": chemistry.Stop} {
		_, verdict, err := chemistry.CheckWater(worn, chemistry.PropyleneGlycol, use)
		require.NoError(t, err)
		assert.Equal(t, want, verdict, use)
	}
}

// TestWaterUses: every fluid has a set of limits.
func TestWaterUses(t *testing.T) {
	t.Parallel()
	for _, f := range chemistry.Fluids() {
		assert.NotEmpty(t, chemistry.WaterUses(f), f)
	}
}

func TestParseHardness(t *testing.T) {
	t.Parallel()
	// 1 mmol/l = 100.09 mg/l = 5.608 dH = 10.009 fH = 7.022 Clark = 5.847 grains per US gallon (from the molar masses).
	for _, in := range []string{"100.09ppm", "100.09 mg/l", "5.608dH", "10.009 fH", "7.022e", "1mmol/l", "5.847gpg"} {
		v, err := chemistry.ParseHardness(in)
		require.NoError(t, err, in)
		assert.InDelta(t, 100.09, v, 0.02, in)
	}
	for _, in := range []string{"100", "-1dH", "5 l", "NaNppm", ""} {
		_, err := chemistry.ParseHardness(in)
		var invalid *chemistry.InvalidError
		require.ErrorAs(t, err, &invalid, in)
	}
}

// TestWaterFiguresAreNeverLost: a figure that the chosen limits say nothing of is checked all the same, and named.
func TestWaterFiguresAreNeverLost(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	w := chemistry.WaterReport{PH: new(7.5), Chloride: new(18.0), Iron: new(0.2)}
	lines, _, err := chemistry.CheckWater(w, pg, "dilution")
	require.NoError(t, err)
	assert.Equal(t, []string{"pH", "iron"}, w.NotJudged(lines))
	w.PH = new(20.0)
	_, _, err = chemistry.CheckWater(w, pg, "dilution")
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "pH", invalid.Field)
}
