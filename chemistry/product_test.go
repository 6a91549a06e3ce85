// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

// bottles returns the products of products.csv with all their pairs. Their tables are longer than a label, so the tests take lines.
func bottles(t *testing.T) map[string]chemistry.Product {
	t.Helper()
	out := make(map[string]chemistry.Product)
	for _, r := range checkRows(t, "products.csv") {
		p := out[r[0]]
		p.Name, p.Base = r[0], chemistry.Fluid(r[1])
		pair := chemistry.LabelPair{Strength: chemistry.VolumeFraction(float(t, r[2]) / 100), Freeze: celsius(float(t, r[3]))}
		if r[4] != "" {
			pair.Density = kgPerLitre(float(t, r[4]) / 1000)
		}
		p.Pairs = append(p.Pairs, pair)
		out[r[0]] = p
	}
	return out
}

// label takes n lines of a table, evenly spread, without the one left out.
func label(p chemistry.Product, n int, without float64) chemistry.Product {
	var rest []chemistry.LabelPair
	for _, q := range p.Pairs {
		if math.Abs(q.Strength.Percent()-without) > 1e-6 {
			rest = append(rest, q)
		}
	}
	n = min(n, len(rest))
	p.Pairs = nil
	for i := range n {
		p.Pairs = append(p.Pairs, rest[(i*(len(rest)-1)+(n-1)/2)/max(1, n-1)])
	}
	return p
}

// TestBottleLeaveOneOut: any line of any product, left out, is found from eight of the others within 1 K, or within the stated
// interval.
func TestBottleLeaveOneOut(t *testing.T) {
	t.Parallel()
	lines, within := 0, 0
	for name, p := range bottles(t) {
		for _, q := range p.Pairs {
			st, err := label(p, chemistry.MaxLabelPairs, q.Strength.Percent()).At(q.Strength)
			require.NoError(t, err)
			lines++
			off := math.Abs(float64(st.Freeze.Stated - *q.Freeze))
			if off <= 1 {
				within++
			}
			assert.LessOrEqual(t, off, max(1, float64(st.Freeze.Uncertainty)), "%s %v: %v", name, q.Strength, st)
		}
	}
	assert.Equal(t, 127, lines)
	assert.Greater(t, float64(within)/float64(lines), 0.97, "within 1 K")
}

// TestBottleFromFewLines: from two lines on, the interval inside them covers the product's other lines and is no wider than 3 K; a
// label without a freeze point gets a wider one that covers them too.
func TestBottleFromFewLines(t *testing.T) {
	t.Parallel()
	for name, p := range bottles(t) {
		for _, n := range []int{0, 2, 4, 8} {
			few := label(p, n, -1)
			if n == 0 {
				few.Pairs = nil
			}
			for _, q := range p.Pairs {
				st, err := few.At(q.Strength)
				require.NoError(t, err)
				u := float64(st.Freeze.Uncertainty)
				assert.LessOrEqual(t, math.Abs(float64(st.Freeze.Stated-*q.Freeze)), u, "%s from %d lines at %v: %v", name, n, q.Strength, st.Freeze)
				assert.Equal(t, n == 0, st.Guess)
				if n > 0 {
					assert.LessOrEqual(t, u, 3.0, "%s from %d lines at %v", name, n, q.Strength)
				} else {
					assert.Greater(t, u, 1.3, "a guess is wider than a label")
				}
			}
		}
	}
}

// TestBottleDrives: mix and reading go by the label.
func TestBottleDrives(t *testing.T) {
	t.Parallel()
	p := bottles(t)["PG4"]
	s, err := p.StrengthFor(-20.9)
	require.NoError(t, err)
	assert.InDelta(t, 40, s.Percent(), 0.05, "the label's own line")
	c, neat, err := p.Concentrate(s)
	require.NoError(t, err)
	st, err := p.At(s)
	require.NoError(t, err)
	m, err := chemistry.Mix(chemistry.MixRequest{Fluid: p.Base, Mass: st.Mass, Make: 1, Concentrate: c, ConcentrateDensity: &neat, Bench: 20})
	require.NoError(t, err)
	product, water := m.Parts[0].Volume, m.Parts[1].Volume
	assert.InDelta(t, 40, 100*float64(product/(product+water)), 0.1, "volumes before mixing, as the label counts")
	assert.InDelta(t, -20.9, float64(m.Result.Freeze.Stated), 0.1)

	byLabel, err := chemistry.Mix(chemistry.MixRequest{Product: &p, Protect: celsius(-15.9), Make: 1, Bench: 20})
	require.NoError(t, err)
	assert.Equal(t, m.Parts, byLabel.Parts)
	assert.InDelta(t, 40, byLabel.Product.Strength.Percent(), 0.05)
	assert.GreaterOrEqual(t, float64(byLabel.Result.Freeze.Uncertainty), float64(st.Freeze.Uncertainty))
	neatMass, off, err := p.Neat()
	require.NoError(t, err)
	assert.Greater(t, float64(neatMass), 0.8)
	assert.Greater(t, float64(off), 0.01, "a label's own uncertainty")
	topUp, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: p.Base, Mass: mass(0.30), Holds: 0.5, Room: 0.1, Protect: celsius(-10), With: []chemistry.Liquid{{Name: "bottle", Product: &p}},
	})
	require.NoError(t, err)
	assert.Less(t, float64(topUp.After.Freeze.Stated), -15.0)
	assert.GreaterOrEqual(t, float64(topUp.After.Freeze.Uncertainty), 1.0, "no surer than the label")

	read, err := p.Read(nil, kgPerLitre(1.0337))
	require.NoError(t, err)
	assert.InDelta(t, 40, read.Strength.Percent(), 0.05)
	whole, err := chemistry.Read(chemistry.ReadingRequest{Product: &p, Density: kgPerLitre(1.0337), Sample: 20})
	require.NoError(t, err)
	assert.InDelta(t, -20.9, float64(whole.Freeze.Stated), 0.1)
	p.Pairs = []chemistry.LabelPair{{Strength: 0.3, Freeze: celsius(-14), Brix: brix(21)}, {Strength: 0.5, Freeze: celsius(-33), Brix: brix(33)}}
	read, err = p.Read(brix(27), nil)
	require.NoError(t, err)
	assert.InDelta(t, 40, read.Strength.Percent(), 1e-9)
	_, err = p.Read(brix(45), nil)
	require.ErrorContains(t, err, "from 0 to 33")

	var invalid *chemistry.InvalidError
	p.Pairs[1].Freeze = celsius(-10)
	_, err = p.At(0.4)
	require.ErrorAs(t, err, &invalid, "stronger and warmer")
	pair, err := chemistry.ParseLabelPair("30%:-14C:22.5brix:1.029kg/l")
	require.NoError(t, err)
	assert.InDelta(t, 0.30, float64(pair.Strength), 1e-12)
	assert.InDelta(t, 22.5, float64(*pair.Brix), 1e-12)
	assert.Equal(t, "30%:-14C:22.5brix:1.029kg/l", pair.String())
	_, _, err = chemistry.Product{Name: "bare", Base: p.Base}.Neat()
	require.ErrorAs(t, err, &invalid, "a label without a freeze point says no strength")
	for _, text := range []string{"40%:-25.5C:1.062", "40%:-25.5C:sg 1.062", "40%:-25.5C:1.062sg"} {
		pair, err = chemistry.ParseLabelPair(text)
		require.NoError(t, err, text)
		require.NotNil(t, pair.Density, text)
		assert.InDelta(t, 1.062*.998, float64(*pair.Density), .001, text)
	}
	_, err = chemistry.ParseLabelPair("40%:25.5")
	require.Error(t, err, "a figure without a unit is no freeze point")
	_, err = chemistry.ParseLabelPair("30%")
	require.ErrorAs(t, err, &invalid)
}

// TestMixSaysTheLabelsPerCent: a mix of a bottle is checked and labelled in the bottle's own per cent, and nothing is put into its label's
// mouth.
func TestMixSaysTheLabelsPerCent(t *testing.T) {
	t.Parallel()
	p := chemistry.Product{Name: "Tern", Base: chemistry.PropyleneGlycol}
	for _, line := range []string{"25%:-9C", "40%:-20C"} {
		pair, err := chemistry.ParseLabelPair(line)
		require.NoError(t, err)
		p.Pairs = append(p.Pairs, pair)
	}
	m, err := chemistry.Mix(chemistry.MixRequest{Product: &p, Volume: new(chemistry.VolumeFraction(0.40)), Make: 1, Bench: 20})
	require.NoError(t, err)
	steps, sources := fmt.Sprint(m.Steps), strings.Join(m.Sources, "\n")
	assert.Contains(t, steps, "that it is 40.0 vol % of Tern, by the lines of its label")
	assert.Contains(t, steps, "the container: fluid, 40.0 vol % of Tern")
	assert.NotContains(t, sources, "as given (label)")
	assert.Contains(t, sources, "Tern: counts as")
	assert.Contains(t, sources, "gives no density")
	p.Pairs = append(p.Pairs, chemistry.LabelPair{Strength: 1, Density: new(chemistry.KilogramPerLitre(1.052))})
	m, err = chemistry.Mix(chemistry.MixRequest{Product: &p, Volume: new(chemistry.VolumeFraction(0.40)), Make: 1, Bench: 20})
	require.NoError(t, err)
	assert.Contains(t, strings.Join(m.Sources, "\n"), "density as on its label")
}
