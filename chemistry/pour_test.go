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

// soundPour is 50 ml of the same mix into a loop that lacks them.
func soundPour() chemistry.PourRequest {
	pg := chemistry.PropyleneGlycol
	return chemistry.PourRequest{
		TopUpRequest: chemistry.TopUpRequest{Fluid: pg, Mass: mass(0.40), MassUncertainty: 0.01, Inhibitor: chemistry.OAT, Holds: 0.5, Protect: celsius(-10)},
		Capacity:     0.58, MetalsKnown: true,
		Poured: []chemistry.Pour{{Liquid: chemistry.Liquid{Name: "premix", Fluid: pg, Mass: 0.40, Inhibitor: chemistry.OAT}, Volume: 0.05}},
	}
}

func pourVerdict(t *testing.T, r chemistry.PourRequest) chemistry.Verdict {
	t.Helper()
	reasons, _, err := chemistry.CheckPour(r)
	require.NoError(t, err)
	return chemistry.Judge(reasons)
}

// What is poured is judged as it is, by the rules of a top-up that is planned.
func TestCheckPour(t *testing.T) {
	t.Parallel()
	assert.Equal(t, chemistry.Go, pourVerdict(t, soundPour()))
	for name, change := range map[string]func(*chemistry.PourRequest){
		"the other glycol":        func(r *chemistry.PourRequest) { r.Poured[0].Fluid = chemistry.EthyleneGlycol },
		"more than it holds":      func(r *chemistry.PourRequest) { r.Poured[0].Volume = 0.081 },
		"water, and the wall":     func(r *chemistry.PourRequest) { r.Poured[0].Mass, r.Protect = 0, celsius(-20) },
		"no strength known":       func(r *chemistry.PourRequest) { r.Mass = nil },
		"no fluid known":          func(r *chemistry.PourRequest) { r.Fluid = "" },
		"no room to expand":       func(r *chemistry.PourRequest) { r.Sealed, r.Capacity = true, 0.552 },
		"anything into deionised": func(r *chemistry.PourRequest) { r.Fluid, r.Mass = chemistry.DeionisedWater, nil },
	} {
		r := soundPour()
		change(&r)
		assert.Equal(t, chemistry.Stop, pourVerdict(t, r), name)
	}
	r := soundPour()
	r.Protect = nil
	assert.Equal(t, chemistry.Care, pourVerdict(t, r), "no go from a wall that nobody knows")
	r.NoFrost = true
	assert.Equal(t, chemistry.Go, pourVerdict(t, r))
	r = soundPour()
	r.Drained = 0.6
	_, _, err := chemistry.CheckPour(r)
	require.ErrorContains(t, err, "not more than the loop holds")
}

// The verdict counts the warm end: the wall between the stated freeze point and
// its warm end is a stop, and one kelvin's breadth below the warm end is none.
func TestCheckPourCountsTheWarmEnd(t *testing.T) {
	t.Parallel()
	r := soundPour()
	_, after, err := chemistry.CheckPour(r)
	require.NoError(t, err)
	warm := after.Freeze.Stated.Add(after.Freeze.Uncertainty)
	r.Protect = celsius(float64(warm) - 0.05)
	assert.Equal(t, chemistry.Stop, pourVerdict(t, r))
	r.Protect = celsius(float64(warm) + 0.05)
	assert.Equal(t, chemistry.Go, pourVerdict(t, r))
}

// A pour keeps glycol and mass: pouring the mix that is in the loop changes no
// strength, whatever the amounts.
func TestCheckPourKeepsTheStrength(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(0, 0.6).Draw(t, "strength")
		r := soundPour()
		r.Mass, r.Poured[0].Mass = mass(x), chemistry.MassFraction(x)
		r.Poured[0].Volume = chemistry.Litre(rapid.Float64Range(0.001, 0.05).Draw(t, "poured"))
		_, after, err := chemistry.CheckPour(r)
		require.NoError(t, err)
		assert.InDelta(t, x, float64(after.Mass), 1e-9)
	})
}

// A loop that is filled to the mark is not overfilled, whatever its volumes add
// up to in binary; a tenth of a millilitre more is, and
// is not said as an amount that no jug shows.
func TestFullToTheMark(t *testing.T) {
	t.Parallel()
	for poured, want := range map[chemistry.Litre]bool{0.01: false, 0.0101: true} {
		reasons, _, err := chemistry.CheckPour(chemistry.PourRequest{
			TopUpRequest: chemistry.TopUpRequest{Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Holds: 0.47, NoFrost: true},
			Poured:       []chemistry.Pour{{Liquid: chemistry.Liquid{Name: "water", Fluid: chemistry.TreatedWater}, Volume: poured}},
			Capacity:     0.48, MetalsKnown: true,
		})
		require.NoError(t, err)
		assert.Equal(t, want, says(reasons, "overfilled"), poured)
		for _, r := range reasons {
			if r.Rule == "overfilled" {
				assert.Contains(t, r.Text, "less than 1 ml too much")
			}
		}
	}
	poured := []chemistry.Litre{0.2, 0.28} // add up to more than 0.48 in the last digit
	for holds, want := range map[chemistry.Litre]bool{0.48: false, 0.4799: true} {
		reasons, err := chemistry.CheckFill(chemistry.FillRequest{
			Contents: chemistry.Contents{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.4)},
			Loop:     &chemistry.FilledLoop{Holds: holds, Filled: poured[0] + poured[1], NoFrost: true, MetalsKnown: true},
		})
		require.NoError(t, err)
		assert.Equal(t, want, says(reasons, "overfilled"), holds)
	}
}

// A pour beyond the tables has no freeze point: none is invented, and it is no go.
func TestPourBeyondTheTablesSaysNoFreezePoint(t *testing.T) {
	t.Parallel()
	r := soundPour()
	r.Drained, r.Poured[0].Mass, r.Poured[0].Volume = 0.4, 0.95, 0.4
	reasons, after, err := chemistry.CheckPour(r)
	require.NoError(t, err)
	require.Greater(t, float64(after.Mass), 0.6)
	require.Len(t, reasons, 1)
	assert.Equal(t, "glycol-too-strong", reasons[0].Rule)
	assert.Contains(t, reasons[0].Text, "beyond the tables")
	assert.NotContains(t, reasons[0].Text, "0.0")
}

// TestBlend: what liquids make in an empty loop, by hand and by a label.
func TestBlend(t *testing.T) {
	t.Parallel()
	pg, water := chemistry.PropyleneGlycol, chemistry.TreatedWater
	pour := func(f chemistry.Fluid, x chemistry.MassFraction, v chemistry.Litre) chemistry.Pour {
		return chemistry.Pour{Liquid: chemistry.Liquid{Name: f.Name(), Fluid: f, Mass: x}, Volume: v}
	}
	// 0.3 l of pure glycol weigh 310.8 g (CRC Handbook, 1036.1 kg/m³), 0.5 l of water 499.1 g (Kell).
	b, err := chemistry.Blend([]chemistry.Pour{pour(pg, 1, 0.3), pour(chemistry.DeionisedWater, 0, 0.5)})
	require.NoError(t, err)
	assert.Equal(t, pg, b.Fluid)
	assert.InDelta(t, 310.83/(310.83+499.10), float64(b.Mass), 1e-5)
	assert.Zero(t, b.Uncertainty)
	density, err := chemistry.Density(pg, b.Mass, 20)
	require.NoError(t, err)
	assert.InDelta(t, 0.80993/float64(density), float64(b.Volume), 1e-5, "they contract")
	for want, both := range map[chemistry.Fluid][2]chemistry.Fluid{water: {water, chemistry.DeionisedWater}, chemistry.DeionisedWater: {chemistry.DeionisedWater, chemistry.DeionisedWater}} {
		b, err := chemistry.Blend([]chemistry.Pour{pour(both[0], 0, 0.3), pour(both[1], 0, 0.5)})
		require.NoError(t, err)
		assert.Equal(t, want, b.Fluid)
		assert.Zero(t, b.Mass)
		assert.InDelta(t, 0.8, float64(b.Volume), 1e-9)
	}

	bottle := chemistry.Product{Name: "Tern", Base: pg}
	for _, line := range []string{"25%:-9C", "40%:-20C", "50%:-31C", "100%:1.052kg/l"} {
		pair, err := chemistry.ParseLabelPair(line)
		require.NoError(t, err)
		bottle.Pairs = append(bottle.Pairs, pair)
	}
	neat := chemistry.Pour{Liquid: chemistry.Liquid{Name: "Tern", Fluid: pg, Mass: 0.95, Product: &bottle}, Volume: 0.4}
	b, err = chemistry.Blend([]chemistry.Pour{neat, pour(water, 0, 0.6)})
	require.NoError(t, err)
	z, err := chemistry.FreezePoint(pg, b.Mass)
	require.NoError(t, err)
	assert.InDelta(t, -20, float64(z.Stated), 0.01, "its label says so of 40 %")
	colder, err := chemistry.FreezePoint(pg, b.Mass+b.Uncertainty)
	require.NoError(t, err)
	assert.InDelta(t, 1, float64(z.Stated-colder.Stated), 0.1, "a label is good for a kelvin at its lines")
	_, err = chemistry.Blend([]chemistry.Pour{neat, pour(water, 0, 0.2)})
	require.ErrorContains(t, err, "its label ends there")

	for says, all := range map[string][]chemistry.Pour{
		"the two must not meet": {pour(pg, 0.5, 0.1), pour(chemistry.EthyleneGlycol, 0.5, 0.1)},
		"a coolant or water":    {pour("brine", 0, 0.1)},
		"what went in":          {},
	} {
		_, err := chemistry.Blend(all)
		require.ErrorContains(t, err, says)
	}
}
