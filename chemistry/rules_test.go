// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

// TestRulesTable: ids are unique, and every rule says its condition, its verdict, its text, its source and its grade.
func TestRulesTable(t *testing.T) {
	t.Parallel()
	seen := make(map[string]bool)
	for _, r := range chemistry.Rules() {
		assert.False(t, seen[r.ID], "%s twice", r.ID)
		seen[r.ID] = true
		assert.NotEmpty(t, r.When, r.ID)
		assert.NotEmpty(t, r.Text, r.ID)
		assert.NotEmpty(t, r.Source, r.ID)
		assert.Contains(t, []chemistry.Verdict{chemistry.Go, chemistry.Care, chemistry.Stop}, r.Verdict, r.ID)
		assert.NotEqual(t, string(r.Grade), r.Grade.Name(), "%s: unknown grade", r.ID)
		if r.Grade == chemistry.FromMemory {
			assert.NotEqual(t, chemistry.Stop, r.Verdict, "%s: from memory is never a stop", r.ID)
		}
	}
}

// TestEveryRuleFires: each rule fires on a case made for it and is silent on a sound one.
func TestEveryRuleFires(t *testing.T) {
	t.Parallel()
	eg, pg := chemistry.EthyleneGlycol, chemistry.PropyleneGlycol
	copperAndAluminium := []chemistry.Metal{chemistry.Copper, chemistry.Aluminium}
	fill := func(c chemistry.Contents, metals ...chemistry.Metal) []chemistry.Reason {
		t.Helper()
		reasons, err := chemistry.CheckFill(chemistry.FillRequest{Contents: c, Metals: metals})
		require.NoError(t, err)
		return reasons
	}
	atPH := func(pH float64, c chemistry.Contents, metals ...chemistry.Metal) []chemistry.Reason {
		t.Helper()
		reasons, err := chemistry.CheckFill(chemistry.FillRequest{Contents: c, Metals: metals, PH: &pH})
		require.NoError(t, err)
		return reasons
	}
	topUp := func(change func(*chemistry.TopUpRequest)) []chemistry.Reason {
		t.Helper()
		r := chemistry.TopUpRequest{Fluid: pg, Mass: mass(0.35), Inhibitor: chemistry.OAT, Metals: copper(), Holds: 0.5, Room: 0.05, With: []chemistry.Liquid{concentrate(pg), water()}}
		change(&r)
		v, err := chemistry.CheckTopUp(r)
		require.NoError(t, err)
		return v.Reasons
	}
	clean := func(r chemistry.CleaningRequest) []chemistry.Reason {
		t.Helper()
		reasons, err := chemistry.CheckCleaning(r)
		require.NoError(t, err)
		return reasons
	}
	with := func(f chemistry.Fluid, x float64, i chemistry.Inhibitor, b chemistry.Biocide) chemistry.Contents {
		c := chemistry.Contents{Fluid: f, Inhibitor: i, Biocide: b}
		if f.IsGlycol() {
			c.Mass = mass(x)
		}
		return c
	}
	poured := func(change func(*chemistry.PourRequest)) []chemistry.Reason {
		t.Helper()
		r := soundPour()
		change(&r)
		reasons, _, err := chemistry.CheckPour(r)
		require.NoError(t, err)
		return reasons
	}
	w := chemistry.TreatedWater
	cases := map[string][]chemistry.Reason{
		"eg-with-pg": topUp(func(r *chemistry.TopUpRequest) { r.With = []chemistry.Liquid{concentrate(eg)} }),
		"deionised-additive": topUp(func(r *chemistry.TopUpRequest) {
			r.Fluid, r.Mass, r.With = chemistry.DeionisedWater, nil, []chemistry.Liquid{water()}
		}),
		"glycol-into-water":  topUp(func(r *chemistry.TopUpRequest) { r.Fluid, r.Mass = w, nil }),
		"unknown-charge":     topUp(func(r *chemistry.TopUpRequest) { r.Fluid = "" }),
		"unknown-strength":   topUp(func(r *chemistry.TopUpRequest) { r.Mass = nil }),
		"inhibitor-unstated": topUp(func(r *chemistry.TopUpRequest) { r.With[0].Inhibitor = "" }),
		"inhibitor-unknown":  topUp(func(r *chemistry.TopUpRequest) { r.Inhibitor, r.With = "", r.With[1:] }),
		"dilution-water":     topUp(func(r *chemistry.TopUpRequest) { r.With[1].Tap = true }),
		"dose-diluted": topUp(func(r *chemistry.TopUpRequest) {
			r.Doses = []chemistry.DoseLevel{{Name: "biocide", Level: 1, SpentBelow: 0.95}}
		}),
		"expansion-room":   topUp(func(r *chemistry.TopUpRequest) { r.Sealed, r.Room = true, 0.002 }),
		"frost":            topUp(func(r *chemistry.TopUpRequest) { r.Protect, r.With = celsius(-25), []chemistry.Liquid{water()} }),
		"frost-margin":     topUp(func(r *chemistry.TopUpRequest) { r.Protect, r.With = celsius(-13), nil }),
		"frost-not-judged": topUp(func(*chemistry.TopUpRequest) {}),
		"overfilled":       poured(func(r *chemistry.PourRequest) { r.Capacity = 0.54 }),
		"volume-unknown":   poured(func(r *chemistry.PourRequest) { r.Capacity = 0 }),
		"metals-unknown":   poured(func(r *chemistry.PourRequest) { r.MetalsKnown = false }),
		"evaporated":       topUp(func(r *chemistry.TopUpRequest) { r.FilledMass = mass(0.30) }),
		"unreached": topUp(func(r *chemistry.TopUpRequest) {
			r.Mass, r.Protect, r.With = mass(0.30), celsius(-12), []chemistry.Liquid{water()}
		}),
		"room-unfilled": topUp(func(r *chemistry.TopUpRequest) {
			r.Protect, r.Room, r.With = celsius(-10), 0.1, []chemistry.Liquid{water()}
		}),
		"neat-concentrate":    topUp(func(r *chemistry.TopUpRequest) { r.Protect, r.With = celsius(-12), r.With[:1] }),
		"drains":              topUp(func(r *chemistry.TopUpRequest) { r.Protect = celsius(-25) }),
		"not-for-electronics": fill(chemistry.Contents{Fluid: "ethanol"}),
		"eg-within-reach": func() []chemistry.Reason {
			reasons, err := chemistry.CheckFill(chemistry.FillRequest{Contents: with(eg, 0.4, "", ""), WithinReach: true})
			require.NoError(t, err)
			return reasons
		}(),
		"copper-aluminium":           fill(with(chemistry.DeionisedWater, 0, "", ""), copperAndAluminium...),
		"copper-aluminium-unknown":   fill(with(w, 0, "", ""), copperAndAluminium...),
		"copper-aluminium-inhibitor": fill(with(w, 0, chemistry.Nitrite, ""), copperAndAluminium...),
		"azole-for-copper":           fill(with(w, 0, chemistry.Nitrite, ""), chemistry.Copper),
		"nitrite-aluminium":          atPH(9.2, with(w, 0, "", ""), chemistry.Aluminium),
		"acid":                       atPH(6.5, with(pg, 0.4, "", "")),
		"isothiazolinone-ph":         atPH(9.5, with(w, 0, "", chemistry.Isothiazolinone)),
		"nitrite-feeds":              fill(with(w, 0, chemistry.Nitrite, chemistry.NoBiocide)),
		"family-unknown":             fill(chemistry.Contents{Fluid: pg, Mass: mass(0.4), Additives: []chemistry.Additive{{Family: chemistry.Family{Kind: chemistry.KindBiocide}}}}),
		"glycol-feeds":               fill(with(pg, 0.15, "", "")),
		"glycol-grey":                fill(with(pg, 0.23, "", "")),
		"glycol-too-strong":          fill(with(eg, 0.65, "", "")),

		"coarse-scale": func() []chemistry.Reason {
			r, err := chemistry.Mix(chemistry.MixRequest{Fluid: pg, Mass: mass(0.4), Make: 0.020, Concentrate: 0.95, Bench: 20})
			require.NoError(t, err)
			return r.Warnings
		}(),

		"predilution": func() []chemistry.Reason {
			r, err := chemistry.Mix(chemistry.MixRequest{Fluid: pg, Mass: mass(0.4), Make: 100, Concentrate: 0.95, Bench: 20})
			require.NoError(t, err)
			return r.Warnings
		}(),

		"label-unread": topUp(func(r *chemistry.TopUpRequest) {
			r.With = []chemistry.Liquid{{Name: "blue", Product: &chemistry.Product{Name: "blue", Base: pg}}, water()}
		}),

		"cleaning-wetted":  clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.Alcohol}}),
		"alcohol-ignition": clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.Alcohol}, Ignition: true}),
		"hot-cleaning":     clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.Acid}, Hot: true}),
		"cleaning-eyes":    clean(chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.Acid}}),
	}
	sound := slices.Concat(
		topUp(func(r *chemistry.TopUpRequest) { r.Protect = celsius(-10) }),
		fill(with(pg, 0.40, chemistry.OAT, chemistry.NoBiocide), chemistry.Copper, chemistry.Steel),
		clean(chemistry.CleaningRequest{}),
		poured(func(*chemistry.PourRequest) {}),
	)
	assert.Empty(t, sound)
	known := make(map[string]bool)
	for _, r := range chemistry.Rules() {
		known[r.ID] = true
		assert.True(t, slices.ContainsFunc(cases[r.ID], func(got chemistry.Reason) bool { return got.Rule == r.ID }), "%s did not fire: %+v", r.ID, cases[r.ID])
	}
	for id := range cases {
		assert.True(t, known[id], "the rule %s is gone from the table", id)
	}
}

// TestMemoryNeverMakesAGo: what stands on memory alone raises to care, never to a stop, and never lowers.
func TestMemoryNeverMakesAGo(t *testing.T) {
	t.Parallel()
	recalled := func(v chemistry.Verdict) chemistry.Reason {
		return chemistry.Reason{Verdict: v, Grade: chemistry.FromMemory}
	}
	assert.Equal(t, chemistry.Care, chemistry.Judge([]chemistry.Reason{recalled(chemistry.Stop)}))
	assert.Equal(t, chemistry.Care, chemistry.Judge([]chemistry.Reason{recalled(chemistry.Care)}))
	stop := chemistry.Reason{Verdict: chemistry.Stop, Grade: chemistry.Practice}
	assert.Equal(t, chemistry.Stop, chemistry.Judge([]chemistry.Reason{stop, recalled(chemistry.Go)}))
}
