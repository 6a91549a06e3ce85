// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func mass(x float64) *chemistry.MassFraction { return new(chemistry.MassFraction(x)) }
func copper() []chemistry.Metal              { return []chemistry.Metal{chemistry.Copper} }
func celsius(t float64) *chemistry.Celsius   { return new(chemistry.Celsius(t)) }
func water() chemistry.Liquid                { return chemistry.Liquid{Name: "water", Fluid: chemistry.TreatedWater} }
func concentrate(f chemistry.Fluid) chemistry.Liquid {
	return chemistry.Liquid{Name: "concentrate", Fluid: f, Mass: 0.95, Inhibitor: chemistry.OAT}
}

// TestTopUpVerdicts: the weightiest rules, each alone.
func TestTopUpVerdicts(t *testing.T) {
	t.Parallel()
	pg, eg := chemistry.PropyleneGlycol, chemistry.EthyleneGlycol
	for _, tt := range []struct {
		name string
		r    chemistry.TopUpRequest
		want chemistry.Verdict
		rule string
	}{
		{"plain top-up", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.35), Inhibitor: chemistry.OAT, Metals: copper(), Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{concentrate(pg), water()},
		}, chemistry.Go, ""},
		{"metals not known", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.35), Inhibitor: chemistry.OAT, Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{water()},
		}, chemistry.Care, "metals-unknown"},
		{"inhibitor not known", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.35), Metals: copper(), Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{water()},
		}, chemistry.Care, "inhibitor-unknown"},
		{"inhibitor at hand not known", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.35), Inhibitor: chemistry.OAT, Metals: copper(), Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{{Name: "premix", Fluid: pg, Mass: 0.4}},
		}, chemistry.Care, "inhibitor-unstated"},
		{"glycols meet", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.35), Holds: 0.52, Room: 0.06, With: []chemistry.Liquid{concentrate(eg)},
		}, chemistry.Stop, "eg-with-pg"},
		{"too thin", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.20), Holds: 0.52, Room: 0.06, With: []chemistry.Liquid{water()},
		}, chemistry.Stop, "glycol-feeds"},
		{"grey zone", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.25), Holds: 0.52, Room: 0.01, With: []chemistry.Liquid{water()},
		}, chemistry.Care, "glycol-grey"},
		{"sealed and full", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.35), Holds: 0.52, Room: 0.005, Sealed: true, With: []chemistry.Liquid{water()},
		}, chemistry.Stop, "expansion-room"},
		{"additive into deionised", chemistry.TopUpRequest{
			Fluid: chemistry.DeionisedWater, Holds: 0.52, Room: 0.06, With: []chemistry.Liquid{water()},
		}, chemistry.Stop, "deionised-additive"},
		{"unknown strength", chemistry.TopUpRequest{
			Fluid: pg, Holds: 0.52, Room: 0.06, With: []chemistry.Liquid{water()},
		}, chemistry.Stop, "unknown-strength"},
		{"frost", chemistry.TopUpRequest{
			Fluid: pg, Mass: mass(0.30), Holds: 0.52, Room: 0.06, Protect: celsius(-20), With: []chemistry.Liquid{water()},
		}, chemistry.Stop, "frost"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			v, err := chemistry.CheckTopUp(tt.r)
			require.NoError(t, err)
			assert.Equal(t, tt.want, v.Verdict, "%+v", v.Reasons)
			rules := make([]string, 0, len(v.Reasons))
			for _, r := range v.Reasons {
				rules = append(rules, r.Rule)
			}
			if tt.rule != "" {
				assert.Contains(t, rules, tt.rule)
			}
			if v.Verdict == chemistry.Stop {
				assert.Empty(t, v.Steps)
			}
		})
	}
}

// TestTopUpDrainsLeast: what is drained and added balances, and reaches the wanted freeze point.
func TestTopUpDrainsLeast(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: pg, Mass: mass(0.25), Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{concentrate(pg), water()},
	})
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(v.Steps), 2)
	assert.Equal(t, "drain", v.Steps[0].Do)
	assert.Equal(t, "concentrate", v.Steps[1].What)
	assert.InDelta(t, -20, float64(v.After.Freeze.Stated), 0.1)

	d, err := chemistry.Density(pg, 0.25, 20)
	require.NoError(t, err)
	before, drained, added := float64(d.Mass(0.52)), float64(v.Steps[0].Mass), float64(v.Steps[1].Mass)
	glycol := (before-drained)*0.25 + added*0.95
	assert.InDelta(t, glycol/(before-drained+added), float64(v.After.Mass), 1e-9)
}

func TestParseLiquid(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	for in, want := range map[string]chemistry.Liquid{
		"concentrate:95%":  {Name: "concentrate", Fluid: pg, Mass: 0.95},
		"premix:40%:200ml": {Name: "premix", Fluid: pg, Mass: 0.40, Available: 0.2},
		"eg:95%":           {Name: "ethylene glycol", Fluid: chemistry.EthyleneGlycol, Mass: 0.95},
		"water:1l":         {Name: "dilution water", Fluid: chemistry.TreatedWater, Inhibitor: chemistry.NoInhibitor, Biocide: chemistry.NoBiocide, Available: 1},
		"Deionised":        {Name: chemistry.DeionisedWater.Name(), Fluid: chemistry.DeionisedWater},
		"tap":              {Name: "tap water", Fluid: chemistry.TreatedWater, Inhibitor: chemistry.NoInhibitor, Biocide: chemistry.NoBiocide, Tap: true},
	} {
		got, err := chemistry.ParseLiquid(in, pg)
		require.NoError(t, err, in)
		assert.Equal(t, want, got)
	}
	byVolume, err := chemistry.MassFractionOf(pg, 0.4)
	require.NoError(t, err)
	for in, want := range map[string]chemistry.MassFraction{"premix:40%": byVolume, "premix:40vol%": byVolume, "premix:40 mass%": 0.40} {
		got, err := chemistry.ParseLiquidByVolume(in, pg)
		require.NoError(t, err, in)
		assert.InDelta(t, float64(want), float64(got.Mass), 1e-12, in)
	}
	for _, in := range []string{"concentrate", "premix:", "water:40%", "oil", "concentrate:95", "concentrate:95%:0ml", "concentrate:95%:5K", ""} {
		_, err := chemistry.ParseLiquid(in, pg)
		var invalid *chemistry.InvalidError
		require.ErrorAs(t, err, &invalid, in)
	}
	for _, base := range []chemistry.Fluid{"", chemistry.TreatedWater, chemistry.DeionisedWater} {
		got, err := chemistry.ParseLiquid("concentrate:95%", base)
		require.NoError(t, err, base)
		assert.Equal(t, chemistry.Liquid{Name: "concentrate", Mass: 0.95}, got, "a glycol not named")
	}
}

// TestGlycolNotNamed: whatever glycol a concentrate is, it may not go into a loop that holds none or whose fluid nobody knows.
func TestGlycolNotNamed(t *testing.T) {
	t.Parallel()
	for base, rule := range map[chemistry.Fluid]string{"": "unknown-charge", chemistry.TreatedWater: "glycol-into-water", chemistry.DeionisedWater: "deionised-additive"} {
		v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: base, Holds: 0.5, Room: 0.05, With: []chemistry.Liquid{{Name: "concentrate", Mass: 0.95}, water()}})
		require.NoError(t, err, base)
		assert.Equal(t, chemistry.Stop, v.Verdict, base)
		assert.True(t, slices.ContainsFunc(v.Reasons, func(r chemistry.Reason) bool { return r.Rule == rule }), "%q: %+v", base, v.Reasons)
		assert.Empty(t, v.Steps, base)
	}
	var invalid *chemistry.InvalidError
	_, err := chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.35), Holds: 0.5, Room: 0.05, With: []chemistry.Liquid{{Name: "concentrate", Mass: 0.95}}})
	require.ErrorAs(t, err, &invalid)
	_, err = chemistry.CheckTopUp(chemistry.TopUpRequest{Holds: 0.5, Room: 0.05, With: []chemistry.Liquid{{Name: "concentrate", Mass: 1.5}}})
	require.ErrorAs(t, err, &invalid)
}

// TestMixWater: a loop on water takes dilution water alone, and deionised water no additive.
func TestMixWater(t *testing.T) {
	t.Parallel()
	for _, f := range []chemistry.Fluid{chemistry.TreatedWater, chemistry.DeionisedWater} {
		r, err := chemistry.Mix(chemistry.MixRequest{Fluid: f, Mass: mass(0), Make: 0.5, Bench: 20, Left: 0.01})
		require.NoError(t, err)
		require.Len(t, r.Parts, 1)
		assert.InDelta(t, 499, r.Parts[0].Mass.Grams(), 1e-9)
		assert.Zero(t, r.Result.Freeze.Stated)
		_, err = chemistry.Mix(chemistry.MixRequest{Fluid: f, Protect: celsius(-5), Make: 0.5, Bench: 20})
		var outside *chemistry.RangeError
		require.ErrorAs(t, err, &outside, "water does not protect")
	}
}

// TestTooStrongNeverDrains: a loop that lost water is filled with water as far as it goes; that it stays stronger than it was filled
// is no reason to drain it.
func TestTooStrongNeverDrains(t *testing.T) {
	t.Parallel()
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: chemistry.EthyleneGlycol, Mass: mass(0.40), FilledMass: mass(0.35), Inhibitor: chemistry.OAT, Metals: copper(),
		Holds: 0.52, Room: 0.06, Sealed: true, NoFrost: true, With: []chemistry.Liquid{water()},
	})
	require.NoError(t, err)
	assert.Equal(t, chemistry.Go, v.Verdict, "%+v", v.Reasons)
	assert.InDelta(t, 0.369, float64(v.After.Mass), 0.0005)
	require.NotEmpty(t, v.Steps)
	assert.Equal(t, "add", v.Steps[0].Do)
}

// TestTopUpSaysWhatItTakesForGranted: the millilitres of a concentrate without a label's density are an estimate, and said to be.
func TestTopUpSaysWhatItTakesForGranted(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	ask := func(l chemistry.Liquid) string {
		v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: pg, Mass: mass(0.35), Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{l}})
		require.NoError(t, err)
		require.NotEmpty(t, v.Steps)
		return strings.Join(v.Sources, "\n")
	}
	assert.Contains(t, ask(concentrate(pg)), "grams decide")
	labelled := concentrate(pg)
	labelled.Density = kgPerLitre(1.04)
	assert.NotContains(t, ask(labelled), "grams decide")
}
