// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
)

// asked are the questions that rules answer, each with a sound loop that a case
// changes.
type asked struct{ t *testing.T }

func (a asked) fill(change func(*chemistry.FillRequest)) []chemistry.Reason {
	a.t.Helper()
	r := chemistry.FillRequest{
		Contents: chemistry.Contents{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.40), Inhibitor: chemistry.OAT, Biocide: chemistry.NoBiocide},
		Metals:   []chemistry.Metal{chemistry.Copper, chemistry.Steel},
	}
	change(&r)
	reasons, err := chemistry.CheckFill(r)
	require.NoError(a.t, err)
	return reasons
}

// glycol is a charge of so much per cent by volume.
func (a asked) glycol(f chemistry.Fluid, percent float64) []chemistry.Reason {
	a.t.Helper()
	x, err := chemistry.MassFractionOf(f, chemistry.VolumeFraction(percent/100))
	require.NoError(a.t, err)
	return a.fill(func(r *chemistry.FillRequest) { r.Fluid, r.Mass = f, &x })
}

func (a asked) topUp(change func(*chemistry.TopUpRequest)) chemistry.TopUpVerdict {
	a.t.Helper()
	pg := chemistry.PropyleneGlycol
	r := chemistry.TopUpRequest{
		Fluid: pg, Mass: mass(0.35), Inhibitor: chemistry.OAT, Metals: copper(), Holds: 0.5, Room: 0.05, Protect: celsius(-10), With: []chemistry.Liquid{concentrate(pg), water()},
	}
	change(&r)
	v, err := chemistry.CheckTopUp(r)
	require.NoError(a.t, err)
	return v
}

func (a asked) plan(change func(*chemistry.TopUpRequest)) []chemistry.Reason {
	a.t.Helper()
	return a.topUp(change).Reasons
}

func (a asked) pour(change func(*chemistry.PourRequest)) []chemistry.Reason {
	a.t.Helper()
	r := soundPour()
	change(&r)
	reasons, _, err := chemistry.CheckPour(r)
	require.NoError(a.t, err)
	return reasons
}

func (a asked) clean(r chemistry.CleaningRequest) []chemistry.Reason {
	a.t.Helper()
	reasons, err := chemistry.CheckCleaning(r)
	require.NoError(a.t, err)
	return reasons
}

func (a asked) mix(amount chemistry.Litre, concentrate chemistry.MassFraction) []chemistry.Reason {
	a.t.Helper()
	m, err := chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.4), Make: amount, Concentrate: concentrate, Bench: 20})
	require.NoError(a.t, err)
	return m.Warnings
}

// sides are what is said on both sides of a rule's threshold.
type sides struct{ speaks, silent []chemistry.Reason }

func says(reasons []chemistry.Reason, rule string) bool {
	return slices.ContainsFunc(reasons, func(r chemistry.Reason) bool { return r.Rule == rule })
}

// edge finds by halving where a rule falls silent between a figure for which it
// speaks and one for which it does not, and wants it at the threshold.
func (a asked) edge(rule string, of func(float64) []chemistry.Reason, speaks, silent, threshold, within float64) sides {
	a.t.Helper()
	require.True(a.t, says(of(speaks), rule), "%s is silent at %v", rule, speaks)
	require.False(a.t, says(of(silent), rule), "%s speaks at %v", rule, silent)
	for math.Abs(speaks-silent) > 1e-9*max(1, math.Abs(speaks)) {
		if middle := (speaks + silent) / 2; says(of(middle), rule) {
			speaks = middle
		} else {
			silent = middle
		}
	}
	assert.InDelta(a.t, threshold, speaks, within, "threshold of %s", rule)
	return sides{of(speaks), of(silent)}
}

// TestEveryRuleHasBothSidesOfItsThreshold: each rule speaks on one side of its threshold and is silent on the other, as near to it
// as the input can be said. The thresholds are those in the rules' own conditions. Whoever adds a rule adds its pair.
func TestEveryRuleHasBothSidesOfItsThreshold(t *testing.T) {
	t.Parallel()
	a := asked{t}
	eg, pg, w := chemistry.EthyleneGlycol, chemistry.PropyleneGlycol, chemistry.TreatedWater
	filled := func(change func(*chemistry.FillRequest)) []chemistry.Reason { return a.fill(change) }
	wetted := func(fluid chemistry.Fluid, inhibitor chemistry.Inhibitor, metals ...chemistry.Metal) []chemistry.Reason {
		return filled(func(r *chemistry.FillRequest) {
			r.Fluid, r.Mass, r.Inhibitor, r.Metals = fluid, nil, inhibitor, metals
		})
	}
	atPH := func(biocide chemistry.Biocide, metals ...chemistry.Metal) func(float64) []chemistry.Reason {
		return func(pH float64) []chemistry.Reason {
			return filled(func(r *chemistry.FillRequest) { r.PH, r.Biocide, r.Metals = &pH, biocide, metals })
		}
	}
	with := func(liquids ...chemistry.Liquid) []chemistry.Reason {
		return a.plan(func(r *chemistry.TopUpRequest) { r.With = liquids })
	}
	intoWater := func(fluid chemistry.Fluid, liquid chemistry.Liquid) []chemistry.Reason {
		return a.plan(func(r *chemistry.TopUpRequest) {
			r.Fluid, r.Mass, r.Protect, r.With = fluid, nil, celsius(18), []chemistry.Liquid{liquid}
		})
	}
	keep := func(wall float64) []chemistry.Reason { // nothing is added, so the strength stays
		return a.plan(func(r *chemistry.TopUpRequest) { r.Protect, r.Room, r.With = celsius(wall), 0, nil })
	}
	kept := a.topUp(func(r *chemistry.TopUpRequest) { r.Room, r.With = 0, nil }).Before.Freeze
	sealed := func(room float64) []chemistry.Reason {
		return a.plan(func(r *chemistry.TopUpRequest) { r.Sealed, r.Room, r.With = true, chemistry.Litre(room), nil })
	}
	expansion := a.topUp(func(r *chemistry.TopUpRequest) { r.Sealed, r.Room, r.With = true, 0.1, nil }).Expansion
	deionised := chemistry.Liquid{Name: "deionised", Fluid: chemistry.DeionisedWater}
	tap := water()
	tap.Tap = true
	label := func(pairs ...chemistry.LabelPair) chemistry.Liquid {
		return chemistry.Liquid{Name: "blue", Product: &chemistry.Product{Name: "blue", Base: pg, Pairs: pairs}}
	}
	line := func(text string) chemistry.LabelPair {
		pair, err := chemistry.ParseLabelPair(text)
		require.NoError(t, err)
		return pair
	}
	family := func(kind chemistry.Kind, id string) []chemistry.Reason {
		return filled(func(r *chemistry.FillRequest) {
			r.Additives = []chemistry.Additive{{Family: chemistry.Family{Kind: kind, ID: id}}}
		})
	}
	azole := func(also ...chemistry.Additive) []chemistry.Reason {
		return filled(func(r *chemistry.FillRequest) { r.Inhibitor, r.Additives = chemistry.Nitrite, also })
	}
	agents := func(change func(*chemistry.CleaningRequest)) []chemistry.Reason {
		r := chemistry.CleaningRequest{Agents: []chemistry.Agent{chemistry.Alcohol}, Metals: []chemistry.Metal{chemistry.Steel}, Materials: []chemistry.Material{chemistry.NoMaterial}}
		change(&r)
		return a.clean(r)
	}
	nothing := func(*chemistry.TopUpRequest) {}
	stated := func(x chemistry.MassFraction) float64 {
		freeze, err := chemistry.FreezePoint(pg, x)
		require.NoError(t, err)
		return float64(freeze.Stated)
	}
	kilograms := func(x chemistry.MassFraction, volume float64) float64 {
		density, err := chemistry.LiquidDensity(pg, x, 20)
		require.NoError(t, err)
		return float64(density) * volume
	}
	// By mass balance: what 50 ml of concentrate make of the half litre, and how much water thins it to what bears -10 °C by 5 K.
	charge, added := kilograms(0.35, 0.5), kilograms(0.95, 0.05)
	strongest := chemistry.MassFraction((0.35*charge + 0.95*added) / (charge + added))
	wanted, err := chemistry.MassFractionForFreezePoint(pg, -15)
	require.NoError(t, err)
	thinner := charge*0.35/float64(wanted) - charge
	pairs := map[string]sides{
		// What meets what is on record, at hand or not.
		"eg-with-pg":          {with(concentrate(eg)), with(concentrate(pg), water())},
		"deionised-additive":  {intoWater(chemistry.DeionisedWater, water()), intoWater(chemistry.DeionisedWater, deionised)},
		"glycol-into-water":   {intoWater(w, concentrate(pg)), intoWater(w, water())},
		"not-for-electronics": {filled(func(r *chemistry.FillRequest) { r.Fluid = "ethanol" }), filled(func(*chemistry.FillRequest) {})},
		"unknown-charge":      {a.plan(func(r *chemistry.TopUpRequest) { r.Fluid = "" }), a.plan(nothing)},
		"unknown-strength":    {a.plan(func(r *chemistry.TopUpRequest) { r.Mass = nil }), a.plan(nothing)},
		"inhibitor-unstated":  {a.plan(func(r *chemistry.TopUpRequest) { r.With[0].Inhibitor = "" }), a.plan(nothing)},
		"inhibitor-unknown":   {a.plan(func(r *chemistry.TopUpRequest) { r.Inhibitor, r.With = "", r.With[1:] }), a.plan(nothing)},
		"dilution-water":      {with(concentrate(pg), tap), with(concentrate(pg), water())},
		"neat-concentrate": {
			a.plan(func(r *chemistry.TopUpRequest) { r.Protect, r.With = celsius(-12), r.With[:1] }), a.plan(func(r *chemistry.TopUpRequest) { r.Protect = celsius(-12) }),
		},
		"label-unread":     {with(label(), water()), with(label(line("30%:-14C"), line("50%:-33C")), water())},
		"frost-not-judged": {a.plan(func(r *chemistry.TopUpRequest) { r.Protect = nil }), a.plan(func(r *chemistry.TopUpRequest) { r.Protect, r.NoFrost = nil, true })},
		"eg-within-reach": {
			filled(func(r *chemistry.FillRequest) { r.Fluid, r.WithinReach = eg, true }), filled(func(r *chemistry.FillRequest) { r.WithinReach = true }),
		},
		"volume-unknown": {a.pour(func(r *chemistry.PourRequest) { r.Capacity = 0 }), a.pour(func(*chemistry.PourRequest) {})},
		"metals-unknown": {a.pour(func(r *chemistry.PourRequest) { r.MetalsKnown = false }), a.pour(func(*chemistry.PourRequest) {})},

		// Metals, inhibitor and biocide, one of them another.
		"copper-aluminium":           {wetted(w, chemistry.NoInhibitor, chemistry.Copper, chemistry.Aluminium), wetted(w, chemistry.NoInhibitor, chemistry.Copper)},
		"copper-aluminium-unknown":   {wetted(w, "", chemistry.Copper, chemistry.Aluminium), wetted(w, chemistry.NoInhibitor, chemistry.Copper, chemistry.Aluminium)},
		"copper-aluminium-inhibitor": {wetted(w, chemistry.Nitrite, chemistry.Copper, chemistry.Aluminium), wetted(w, chemistry.Nitrite, chemistry.Aluminium)},
		"azole-for-copper":           {azole(), azole(chemistry.Additive{Family: chemistry.Family{Kind: chemistry.KindInhibitor, ID: string(chemistry.Azole)}})},
		"nitrite-feeds": {
			azole(), filled(func(r *chemistry.FillRequest) { r.Inhibitor, r.Biocide = chemistry.Nitrite, chemistry.Isothiazolinone }),
		},
		"family-unknown":     {family(chemistry.KindBiocide, ""), family(chemistry.KindBiocide, string(chemistry.Isothiazolinone))},
		"nitrite-aluminium":  a.edge("nitrite-aluminium", atPH(chemistry.NoBiocide, chemistry.Aluminium), 9.5, 8, 8.9, 1e-6),
		"acid":               a.edge("acid", atPH(chemistry.NoBiocide), 6, 8, 7, 1e-6),
		"isothiazolinone-ph": a.edge("isothiazolinone-ph", atPH(chemistry.Isothiazolinone), 9.5, 8.5, 9, 1e-6),
		"dose-diluted": a.edge("dose-diluted", func(limit float64) []chemistry.Reason {
			return a.plan(func(r *chemistry.TopUpRequest) {
				r.Room, r.With, r.Doses = 0, nil, []chemistry.DoseLevel{{Name: "biocide", Level: 0.5, SpentBelow: limit}}
			})
		}, 0.9, 0.1, 0.5, 1e-6),

		// Strength, in per cent by volume before mixing.
		"glycol-feeds":      a.edge("glycol-feeds", func(v float64) []chemistry.Reason { return a.glycol(pg, v) }, 10, 22, 20, 1e-4),
		"glycol-grey":       a.edge("glycol-grey", func(v float64) []chemistry.Reason { return a.glycol(pg, v) }, 22, 30, 24.95, 1e-4),
		"glycol-too-strong": a.edge("glycol-too-strong", func(v float64) []chemistry.Reason { return a.glycol(eg, v) }, 62, 50, 60, 1e-4),

		// Frost: the warm end of the interval against the wall, the stated freeze point against the wall less 5 K.
		"frost":        a.edge("frost", keep, -30, -2, float64(kept.Stated.Add(kept.Uncertainty)), 1e-6),
		"frost-margin": a.edge("frost-margin", keep, float64(kept.Stated.Add(kept.Uncertainty))+0.01, -2, float64(kept.Stated)+4.9, 1e-6),

		// Room and amounts, in litres.
		"expansion-room": a.edge("expansion-room", sealed, 0, 0.1, float64(expansion), 1e-6),
		"overfilled": a.edge("overfilled", func(capacity float64) []chemistry.Reason {
			return a.pour(func(r *chemistry.PourRequest) { r.Capacity = chemistry.Litre(capacity) })
		}, 0.5, 0.6, 0.55, 1e-4),
		"evaporated": a.edge("evaporated", func(was float64) []chemistry.Reason {
			return a.plan(func(r *chemistry.TopUpRequest) { r.FilledMass = mass(was) })
		}, 0.30, 0.35, 0.34, 1e-6),
		"coarse-scale": a.edge("coarse-scale", func(amount float64) []chemistry.Reason {
			return a.mix(chemistry.Litre(amount), 0.95)
		}, 0.02, 0.5, 0.1/kilograms(0.4, 1), 5e-4), // half a gram is half a per cent of 100 g
		"predilution": a.edge("predilution", func(amount float64) []chemistry.Reason {
			return a.mix(chemistry.Litre(amount), 0.95)
		}, 200, 50, 100, 1e-6),
		"drains": a.edge("drains", func(wall float64) []chemistry.Reason {
			return a.plan(func(r *chemistry.TopUpRequest) { r.Protect = celsius(wall) })
		}, -25, -10, stated(strongest)+5, 0.2),
		"unreached": a.edge("unreached", func(wall float64) []chemistry.Reason {
			return a.plan(func(r *chemistry.TopUpRequest) { r.Mass, r.Protect, r.With = mass(0.30), celsius(wall), r.With[1:] })
		}, -12, -5, stated(0.30)+5, 0.1),
		"room-unfilled": a.edge("room-unfilled", func(room float64) []chemistry.Reason {
			return a.plan(func(r *chemistry.TopUpRequest) { r.Room, r.With = chemistry.Litre(room), r.With[1:] })
		}, 0.1, 0, thinner+0.004, 2e-4), // four steps of the scale are rounding

		// Cleaning.
		"cleaning-wetted":    {agents(func(r *chemistry.CleaningRequest) { r.Metals, r.Materials = nil, []chemistry.Material{"epdm"} }), agents(func(*chemistry.CleaningRequest) {})},
		"cleaning-materials": {agents(func(r *chemistry.CleaningRequest) { r.Materials = nil }), agents(func(*chemistry.CleaningRequest) {})},
		"alcohol-ignition":   {agents(func(r *chemistry.CleaningRequest) { r.Ignition = true }), agents(func(*chemistry.CleaningRequest) {})},
		"hot-cleaning": {
			agents(func(r *chemistry.CleaningRequest) { r.Agents, r.Hot = []chemistry.Agent{chemistry.Acid}, true }),
			agents(func(r *chemistry.CleaningRequest) { r.Hot = true }),
		},
		"cleaning-eyes": {agents(func(*chemistry.CleaningRequest) {}), agents(func(r *chemistry.CleaningRequest) { r.Agents = nil })},
	}
	for _, r := range chemistry.Rules() {
		pair, ok := pairs[r.ID]
		assert.True(t, ok, "%s has no pair", r.ID)
		assert.True(t, says(pair.speaks, r.ID), "%s did not fire: %+v", r.ID, pair.speaks)
		assert.False(t, says(pair.silent, r.ID), "%s fires on the sound side too", r.ID)
		delete(pairs, r.ID)
	}
	assert.Empty(t, pairs, "rules that are gone from the table")
	// A trace of glycol, of up to 0.2 %, is residue and no charge of it.
	a.edge("glycol-feeds", func(v float64) []chemistry.Reason { return a.glycol(pg, v) }, 1, 0, 0.2, 1e-4)
	a.edge("glycol-grey", func(v float64) []chemistry.Reason { return a.glycol(pg, v) }, 22, 15, 20, 1e-4)
	assert.Empty(t, slices.Concat(a.plan(nothing), filled(func(*chemistry.FillRequest) {}), a.clean(chemistry.CleaningRequest{}), a.pour(func(*chemistry.PourRequest) {})), "of what is sound")
}
