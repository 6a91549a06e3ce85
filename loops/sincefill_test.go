// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestSinceFill(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	topUp := func(after int, drained, poured chemistry.Litre) loops.Entry {
		return loops.Entry{Kind: loops.KindTopUp, Day: d.AddDays(after), By: "test", TopUp: &loops.TopUp{Drained: drained, Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: poured}}}}
	}
	treated := fill(d, 0.4)
	treated.Fill.Charge.Additives = []loops.Dosed{
		{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole", DoseMLPerL: 2}},
		{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", Product: "Clear B", DoseMLPerL: 1}},
		{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "bronopol", DoseMLPerL: 1}},
		{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "molybdate"}},
	}
	dose := loops.Entry{Kind: loops.KindDose, Day: d.AddDays(30), By: "test", Dose: &loops.Dose{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone"}}}
	ph := loops.Entry{Kind: loops.KindInspection, Day: d.AddDays(40), By: "test", Inspection: &loops.Inspection{PH: new(8.2), Verdict: loops.NotJudged}}

	// 0.5 l less 0.1 l drained, then 0.1 l of water: four fifths are left.
	s := loops.SinceFillOf(numbered(treated, topUp(10, 0.1, 0.1), dose, ph, topUp(50, 0, 0.5)))
	require.NotNil(t, s.FilledMass)
	assert.InDelta(t, 0.4, float64(*s.FilledMass), 1e-12, "the strength at the fill, whatever was added since")
	require.Len(t, s.Doses, 3, "of the molybdate no dose is known")
	for i, want := range []chemistry.DoseLevel{{Name: "azole", Level: 0.8 * 0.5}, {Name: "Clear B", Level: 0.5}, {Name: "bronopol", Level: 0.8 * 0.5}} {
		assert.Equal(t, want.Name, s.Doses[i].Name)
		assert.InDelta(t, want.Level, s.Doses[i].Level, 1e-12, "only what was dosed again before the last top-up is renewed: %s", want.Name)
	}
	assert.InDelta(t, 8.2, *s.PH, 1e-12)

	again := loops.SinceFillOf(numbered(fill(d, 0.4), topUp(10, 0.1, 0.1), fill(d.AddDays(60), 0.3)))
	assert.Empty(t, again.Doses, "a fill begins again")
	assert.Nil(t, again.PH)
	other := loops.Entry{Kind: loops.KindSwap, Day: d.AddDays(60), By: "test", Swap: &loops.Swap{OldUnit: loops.OldUnitKept, Fluid: chemistry.PropyleneGlycol}}
	assert.Equal(t, loops.SinceFill{}, loops.SinceFillOf(numbered(treated, dose, ph, other)), "another cooler has nothing of the old one's")

	unmeasured := treated
	unmeasured.Fill = &loops.Fill{Charge: treated.Fill.Charge}
	unmeasured.Fill.Charge.Volume = 0
	assert.Empty(t, loops.SinceFillOf(numbered(unmeasured, topUp(10, 0, 0.1))).Doses, "without a volume nothing can be said")
	assert.Equal(t, loops.SinceFill{}, loops.SinceFillOf(nil))
}
