// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

func mass(x float64) *chemistry.MassFraction { return new(chemistry.MassFraction(x)) }
func celsius(t float64) *chemistry.Celsius   { return new(chemistry.Celsius(t)) }
func water() chemistry.Liquid                { return chemistry.Liquid{Name: "water", Fluid: chemistry.TreatedWater} }
func concentrate(f chemistry.Fluid) chemistry.Liquid {
	return chemistry.Liquid{Name: "concentrate", Fluid: f, Mass: 0.95}
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
			Fluid: pg, Mass: mass(0.35), Holds: 0.52, Room: 0.06, Protect: celsius(-15), With: []chemistry.Liquid{concentrate(pg), water()},
		}, chemistry.Go, ""},
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
