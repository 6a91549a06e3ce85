// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package tables_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry/tables"
)

// TestAxes: what is interpolated lies on rising axes, and freeze points fall all the way.
func TestAxes(t *testing.T) {
	t.Parallel()
	for name, g := range map[string]*tables.Glycol{"eg": tables.Ethylene(), "pg": tables.Propylene()} {
		for i := 1; i < tables.Percents; i++ {
			assert.Less(t, g.FreezeC[i], g.FreezeC[i-1], "%s %d", name, i)
			assert.GreaterOrEqual(t, g.BoilC[i], g.BoilC[i-1], "%s %d", name, i)
			assert.Greater(t, g.PrintedVolume[i], g.PrintedVolume[i-1], "%s %d", name, i)
		}
		assert.NotZero(t, g.Melinder.BaseFraction)
		assert.NotZero(t, g.Melinder.BaseTemperature)
		assert.NotZero(t, g.Pure.MolarMass)
		for _, c := range [][4][6]float64{g.Melinder.Density, g.Melinder.SpecificHeat, g.Melinder.Conductivity, g.Melinder.LogViscosity} {
			for i, row := range c {
				last := []int{5, 4, 3, 2}[i] // the highest power of x in row i
				assert.NotZero(t, row[last], "%s row %d", name, i)
				for _, beyond := range row[last+1:] {
					assert.Zero(t, beyond, "%s row %d has a term the evaluation leaves out", name, i)
				}
			}
		}
	}
	brix := tables.All().Brix
	for i := 1; i < len(brix); i++ {
		assert.Greater(t, brix[i], brix[i-1], "%d Brix", i)
	}
	c := tables.All().SucroseDNDT
	assert.True(t, slices.IsSorted(c.X))
	assert.Len(t, c.Y, len(c.X))
	assert.True(t, slices.IsSortedFunc(tables.All().Permeabilities, func(a, b tables.Permeability) int {
		if a.Value < b.Value {
			return -1
		}
		return 1
	}))
}

// TestStatements: every code of a hazard has its text, and every text is used.
func TestStatements(t *testing.T) {
	t.Parallel()
	used := map[string]bool{"EUH208": true} // of mixtures, not of a substance
	for name, h := range tables.All().Hazards {
		for _, code := range append(h.H, h.P...) {
			used[code] = true
			assert.NotEmpty(t, tables.All().Statements[code], "%s: %s", name, code)
		}
		assert.NotEmpty(t, h.Source, name)
		assert.NotEmpty(t, h.Grade, name)
	}
	for code := range tables.All().Statements {
		assert.True(t, used[code], "%s is of no use", code)
	}
}

// TestLimits: a limit has a side, a source and a grade.
func TestLimits(t *testing.T) {
	t.Parallel()
	require.NotEmpty(t, tables.All().WaterLimits)
	for _, l := range tables.All().WaterLimits {
		assert.Less(t, l.Min, l.Max, "%s %s", l.Use, l.Parameter)
		assert.NotEmpty(t, l.Source)
		assert.NotEmpty(t, l.Fluids)
		assert.Contains(t, []string{"water", "coolant"}, l.Kind)
		assert.Contains(t, "SRMPXZ", l.Grade)
	}
}

// TestHeaders: every table says where it comes from and who wrote it down.
func TestHeaders(t *testing.T) {
	t.Parallel()
	names, err := filepath.Glob("*.csv")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	for _, name := range names {
		data, err := os.ReadFile(name)
		require.NoError(t, err)
		var header strings.Builder
		for line := range strings.Lines(string(data)) {
			if !strings.HasPrefix(line, "#") {
				break
			}
			header.WriteString(line)
		}
		assert.Contains(t, strings.ToLower(header.String()), "source", name)
		assert.Contains(t, header.String(), "Transcribed", name)
	}
}
