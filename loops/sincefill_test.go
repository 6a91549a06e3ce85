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
	dose := loops.Entry{Kind: loops.KindDose, Day: d.AddDays(30), By: "test", Dose: &loops.Dose{Role: loops.RoleBiocide}}
	ph := loops.Entry{Kind: loops.KindInspection, Day: d.AddDays(40), By: "test", Inspection: &loops.Inspection{PH: new(8.2), Verdict: loops.NotJudged}}

	// 0.5 l less 0.1 l drained, then 0.1 l of water: four fifths are left.
	s := loops.SinceFillOf(numbered(fill(d, 0.4), topUp(10, 0.1, 0.1), dose, ph, topUp(50, 0, 0.5)))
	require.NotNil(t, s.FilledMass)
	assert.InDelta(t, 0.4, float64(*s.FilledMass), 1e-12, "the strength at the fill, whatever was added since")
	assert.InDelta(t, 0.8*0.5, s.InhibitorLeft, 1e-12)
	assert.InDelta(t, 0.5, s.BiocideLeft, 1e-12, "the dose renewed it before the last top-up")
	assert.InDelta(t, 8.2, *s.PH, 1e-12)

	again := loops.SinceFillOf(numbered(fill(d, 0.4), topUp(10, 0.1, 0.1), fill(d.AddDays(60), 0.3)))
	assert.InDelta(t, 1, again.InhibitorLeft, 1e-12, "a fill begins anew")
	assert.Nil(t, again.PH)

	unmeasured := fill(d, 0.4)
	unmeasured.Fill.Charge.Volume = 0
	assert.Zero(t, loops.SinceFillOf(numbered(unmeasured, topUp(10, 0, 0.1))).InhibitorLeft, "without a volume nothing can be said")
	assert.Equal(t, loops.SinceFill{}, loops.SinceFillOf(nil))
}
