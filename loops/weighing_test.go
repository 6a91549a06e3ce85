// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func weighing(d loops.Day, stage loops.WeighingStage, kg chemistry.Kilogram) loops.Entry {
	return loops.Entry{Kind: loops.KindWeighing, Day: d, By: "test", Weighing: &loops.Weighing{Stage: stage, Weight: kg, Uncertainty: 0.001}}
}

// A sealed loop is weighed again: what it lost needs no opening.
func TestWeighedLoss(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	year := d.AddDays(365)
	drained := loops.Entry{Kind: loops.KindTopUp, Day: d.AddDays(100), By: "test", TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.01}}}}
	other := weighing(d.AddDays(50), loops.WeighedLater, 9)
	other.Weighing.What = "the whole machine"
	swapped := loops.Entry{Kind: loops.KindSwap, Day: d.AddDays(100), By: "test", Swap: &loops.Swap{OldUnit: loops.OldUnitKept}}
	inspected := comparable(year, loops.Good)
	inspected.Inspection.Weight = new(chemistry.Kilogram(1.492))
	for _, c := range []struct {
		name    string
		history []loops.Entry
		from    loops.Day
		lost    float64 // g
		ok      bool
	}{
		{name: "nothing weighed", history: numbered(fill(d, 0.4))},
		{name: "weighed once", history: numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5))},
		{name: "weighed twice", history: numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5), weighing(year, loops.WeighedLater, 1.492)), from: d, lost: 8, ok: true},
		{name: "filled weight recorded before the fill of that day", history: numbered(weighing(d, loops.WeighedFilled, 1.5), fill(d, 0.4), weighing(year, loops.WeighedLater, 1.492)), from: d, lost: 8, ok: true},
		{name: "by an inspection", history: numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5), inspected), from: d, lost: 8, ok: true},
		{name: "a top-up begins again", history: numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5), drained, weighing(d.AddDays(101), loops.WeighedLater, 1.496), weighing(year, loops.WeighedLater, 1.492)), from: d.AddDays(101), lost: 4, ok: true},
		{name: "another thing on the scale is not compared", history: numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5), other, weighing(year, loops.WeighedLater, 1.492)), from: d, lost: 8, ok: true},
		{name: "another cooler is not compared", history: numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5), swapped, weighing(d.AddDays(101), loops.WeighedLater, 1.7), weighing(year, loops.WeighedLater, 1.696)), from: d.AddDays(101), lost: 4, ok: true},
		{name: "dry and drained are no baseline", history: numbered(fill(d, 0.4), weighing(d.AddDays(1), loops.WeighedDrained, 1.1), weighing(year, loops.WeighedLater, 1.492))},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			loss, ok := loops.WeighedLossOf(c.history)
			require.Equal(t, c.ok, ok)
			if !ok {
				return
			}
			assert.Equal(t, c.from, loss.From)
			assert.Equal(t, year, loss.To)
			assert.InDelta(t, c.lost, loss.Lost.Grams(), 1e-9)
			years := float64(year.Sub(c.from)) / 365.25
			assert.InDelta(t, c.lost/years, loss.PerYear.Grams(), 1e-9)
		})
	}
	loss, _ := loops.WeighedLossOf(numbered(fill(d, 0.4), weighing(d, loops.WeighedFilled, 1.5), weighing(year, loops.WeighedLater, 1.492)))
	assert.InDelta(t, math.Sqrt2, loss.Uncertainty.Grams(), 1e-9, "two scale uncertainties of 1 g add in quadrature")
}

// Dry 1000 g, drained 1030 g, filled 1530 g of a liquid of 1.030 ± 0.005 kg/l.
// By hand: 30 g left are 29.13 ml, 530 g of charge 514.56 ml; the scale's 1 g
// twice is 1.414 g or 1.373 ml, the density 0.485 % or 2.498 ml, together
// 2.850 ml.
func TestAmountsByWeight(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	w := loops.WeightsOf(numbered(weighing(d, loops.WeighedDry, 1), weighing(d, loops.WeighedDrained, 1.03), weighing(d, loops.WeighedFilled, 1.53)))
	got, err := w.Amounts(1.03, 0.005)
	require.NoError(t, err)
	assert.InDelta(t, 30, got.Left.Mass.Grams(), 1e-9)
	assert.InDelta(t, 29.13, got.Left.Volume.Millilitres(), 0.005)
	assert.InDelta(t, 500, got.Added.Mass.Grams(), 1e-9)
	assert.InDelta(t, 514.56, got.Charge.Volume.Millilitres(), 0.005)
	assert.InDelta(t, 2.850, got.Charge.VolumeUncertainty.Millilitres(), 0.001)

	_, err = loops.WeightsOf(numbered(weighing(d, loops.WeighedDry, 2), weighing(d, loops.WeighedFilled, 1.5))).Amounts(1.03, 0)
	assert.ErrorContains(t, err, "not less than dry")
	_, err = w.Amounts(0, 0)
	assert.ErrorContains(t, err, "density")
}
