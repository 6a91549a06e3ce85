// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestPlotsShowTheLoopWhereItIs(t *testing.T) {
	t.Parallel()
	for _, fluid := range []chemistry.Fluid{chemistry.EthyleneGlycol, chemistry.PropyleneGlycol} {
		for _, mass := range []float64{0, 0.02, 0.125, 0.3, 0.35, 0.5, 0.6} {
			t.Run(fmt.Sprint(fluid, mass), func(t *testing.T) {
				t.Parallel()
				b := newBench(t)
				freeze, err := chemistry.FreezePoint(fluid, chemistry.MassFraction(mass))
				require.NoError(t, err)
				// The wall right at the freeze point is where two labels would meet.
				file := b.register(machine{owner: loops.Owner{Name: "Ana Fern"}, name: "the grey tower", kind: loops.Desktop,
					fluid: fluid, mass: mass, wall: float64(freeze.Stated) - 0.5, daysAgo: 20})
				page := b.get("/loops/" + string(file.Loop.Tag)).Body.String()

				point := numbers(t, page, `<circle class="point" cx="(.+?)" cy="(.+?)"`)
				assert.InDelta(t, lineAt(t, page, point[0]), point[1], 1, "the point lies on the curve")
				label := numbers(t, page, `x="([\d.]+)" y="([\d.]+)">this loop`)
				assert.GreaterOrEqual(t, label[1], 20.0, "its name is below the upper edge")

				wall := numbers(t, page, `y="([\d.]+)" dy="-2">coldest wall`)[0]
				freezes := numbers(t, page, `y="([\d.]+)" dy="-2">freeze point`)[0]
				assert.GreaterOrEqual(t, math.Abs(wall-freezes), 40.0, "neither label covers the other")
			})
		}
	}
}

func TestPlotFiguresStandInATable(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	page := b.get("/loops/" + string(b.ana().Loop.Tag)).Body.String()
	for percent := 0; percent <= 60; percent += 5 {
		freeze, err := chemistry.FreezePoint(chemistry.PropyleneGlycol, chemistry.MassFraction(float64(percent)/100))
		require.NoError(t, err)
		row := regexp.MustCompile(fmt.Sprintf(`<tr><td>%d</td><td>(.+?)</td>`, percent)).FindStringSubmatch(page)
		require.NotNil(t, row, percent)
		shown, err := strconv.ParseFloat(strings.TrimSuffix(strings.ReplaceAll(row[1], "\u2212", "-"), "\u00a0°C"), 64)
		require.NoError(t, err)
		assert.InDelta(t, float64(freeze.Stated), shown, 0.051, percent)
	}
}

// numbers finds the pattern in the page and returns its groups as numbers.
func numbers(t *testing.T, page, pattern string) []float64 {
	t.Helper()
	found := regexp.MustCompile(pattern).FindStringSubmatch(page)
	require.NotNil(t, found, pattern)
	var out []float64
	for _, text := range found[1:] {
		v, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err)
		out = append(out, v)
	}
	return out
}

// lineAt reads the height of the drawn curve at x.
func lineAt(t *testing.T, page string, x float64) float64 {
	t.Helper()
	path := regexp.MustCompile(`<path class="line" d="(.+?)"`).FindStringSubmatch(page)
	require.NotNil(t, path)
	var was [2]float64
	for i, pair := range strings.FieldsFunc(path[1], func(r rune) bool { return r == 'M' || r == 'L' }) {
		var is [2]float64
		_, err := fmt.Sscan(pair, &is[0], &is[1])
		require.NoError(t, err)
		if i > 0 && is[0] >= x {
			return was[1] + (is[1]-was[1])*(x-was[0])/(is[0]-was[0])
		}
		was = is
	}
	return was[1]
}
