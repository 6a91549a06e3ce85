// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

// What was read of the old cooler says nothing of the one that took its place.
func TestAnotherCoolerBeginsAnotherHistory(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-02-01")
	old := append(comparableReadings(start, 3, 0), comparableReadings(start.AddDays(180), 1, 0)...)
	old[3].Inspection.Die = new(chemistry.Celsius(26 + 14))
	old[3].Inspection.PH, old[3].Inspection.Missing = new(5.0), new(chemistry.Litre(0.04))
	findings := func(in schedule.Input) (found []string) {
		for _, task := range mustPlan(t, in).Tasks {
			for _, c := range task.Clauses {
				if c.Kind == loops.ByFinding || c.Kind == loops.ByLoss {
					found = append(found, c.Text)
				}
			}
		}
		return found
	}
	before := withHistory(loops.Desktop, old...)
	require.Len(t, findings(before), 4, "too weak, sour, low, and losing too fast")
	swap := loops.Entry{Kind: loops.KindSwap, Day: start.AddDays(200), By: "test",
		Swap: &loops.Swap{OldUnit: loops.OldUnitKept, Fluid: chemistry.PropyleneGlycol, Volume: 0.5}}
	after := withHistory(loops.Desktop, append(old, swap)...)
	assert.Empty(t, findings(after))
	says := schedule.ReadingsOf(after.Loop, after.History)
	assert.Nil(t, says, "nobody has read the new one")

	says = schedule.ReadingsOf(after.Loop, append(after.History, proofOf(swap.Day.AddDays(1), *old[3].Inspection, *old[0].Inspection)))
	require.NotNil(t, says.Proof)
	assert.Equal(t, swap.Day.AddDays(1), says.Last.Day)
}

func proofOf(d loops.Day, before, after loops.Inspection) loops.Entry {
	return loops.Entry{ID: 100, Kind: loops.KindProof, Day: d, By: "test", Proof: &loops.Proof{Before: before, After: after}}
}

// A charge that freezes at its wall is no matter of next year.
func TestWhatFreezesIsDueAtOnce(t *testing.T) {
	t.Parallel()
	frost := loops.MonthDay{Month: time.October, Dom: 15}
	plan := func(wall chemistry.Celsius, entries ...loops.Entry) loops.Task {
		in := withHistory(loops.Desktop, entries...)
		in.Policy.FirstFrost, in.Loop.ColdestWall = frost, &wall
		check, ok := task(mustPlan(t, in), loops.ServiceCheck)
		require.True(t, ok)
		return check
	}
	read := inspected(day(t, "2026-09-20"), func(x *loops.Inspection) { x.Mass = new(chemistry.MassFraction(0.3)) })
	check := plan(-15, read)
	assert.Equal(t, "2026-09-20 finding", check.Due.String()+" "+string(check.Binding().Kind))
	assert.Contains(t, check.Binding().Text, "It freezes at its coldest wall, the first frost is expected on 15 Oct")
	assert.Equal(t, "2026-01-10", plan(-15).Due.String(), "filled like that")
	check = plan(-15, read, water(day(t, "2026-11-02"), 0.05))
	assert.Equal(t, "2026-11-02", check.Due.String(), "by what was poured in")
	assert.Contains(t, check.Binding().Text, "topped up on")
	// First ice at −11.6 °C at worst: thin, and measured for this winter.
	assert.Equal(t, loops.ByInterval, plan(-10, read).Binding().Kind)
	// Nobody knows how strong it is since the water of unknown amount; what was read before is not fresh.
	unknown := poured(day(t, "2026-09-21"), chemistry.EthyleneGlycol, 0.95, 0.02, 0)
	assert.Equal(t, "2026-10-01", plan(-5, read, unknown).Due.String())
}

// Less than is worth a visit asks for none, where the volume is known.
func TestALittleMissingAsksForNoTopUp(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		gap, volume chemistry.Litre
		due         bool
	}{{0.005, 0.5, false}, {0.0249, 0.5, false}, {0.025, 0.5, true}, {0.005, 0, true}} {
		in := withHistory(loops.Desktop, missing(day(t, "2027-01-20"), tt.gap))
		in.Loop.Volume = tt.volume
		_, ok := clause(mustPlan(t, in), loops.TopUpTask, loops.ByFinding)
		assert.Equal(t, tt.due, ok, "%s of %s", tt.gap, tt.volume)
	}
}

// Only a fill of known volume into a loop of known volume says how full it was.
func TestHowFullAFillWasIsKnownOrNot(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name    string
		fill    func(*loops.Charge)
		entries []loops.Entry
		losing  bool
		text    string
	}{
		{"factory charge, first look", func(c *loops.Charge) { c.Origin = loops.Factory },
			[]loops.Entry{missing(day(t, "2026-01-30"), 0.04)}, false, ""},
		{"factory charge, from look to look", func(c *loops.Charge) { c.Origin = loops.Factory },
			[]loops.Entry{missing(day(t, "2026-01-30"), 0.04), missing(day(t, "2026-02-28"), 0.06)}, true, "4 % of the volume"},
		{"factory charge, checked dry before the first look", func(c *loops.Charge) { c.Origin = loops.Factory },
			[]loops.Entry{leakChecked(day(t, "2026-01-20"), 24, true), missing(day(t, "2026-01-30"), 0.04)}, false, ""},
		{"workshop fill of an unknown volume", func(c *loops.Charge) { c.Volume = 0 },
			[]loops.Entry{missing(day(t, "2026-01-30"), 0.04)}, false, ""},
		{"room left on purpose", func(c *loops.Charge) { c.Volume = 0.46 },
			[]loops.Entry{missing(day(t, "2026-01-30"), 0.04)}, false, ""},
		{"and more gone", func(c *loops.Charge) { c.Volume = 0.46 },
			[]loops.Entry{missing(day(t, "2026-01-30"), 0.06)}, true, "4 % of the volume"},
	} {
		in := withHistory(loops.Desktop, tt.entries...)
		tt.fill(&in.History[0].Fill.Charge)
		in.Loop.State = loops.Fold(in.History)
		got, losing := clause(mustPlan(t, in), loops.LeakCheckTask, loops.ByFinding)
		assert.Equal(t, tt.losing, losing, "%s: %s", tt.name, got.Text)
		assert.Contains(t, got.Text, tt.text)
		rate, loses := clause(mustPlan(t, in), loops.TopUpTask, loops.ByLoss)
		assert.Equal(t, tt.losing, loses, "%s: %s", tt.name, rate.Text)
	}
}

// One coolant temperature does not take the place of years of readings.
func TestOneCoolantTemperatureWipesOutNoTrend(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-02-01")
	entries := comparableReadings(start, 7, 0.002)
	for i := range entries[:6] {
		entries[i].Inspection.CoolantIn = nil
	}
	in := withHistory(loops.Desktop, entries...)
	got, ok := clause(mustPlan(t, in), loops.ServiceCheck, loops.ByTrend)
	require.True(t, ok)
	assert.Contains(t, got.Text, "The total resistance rises by 0.0122 K/W a year")
	says := schedule.ReadingsOf(in.Loop, in.History)
	require.Len(t, says.Trends, 1)
	assert.Equal(t, 7, says.Trends[0].Readings)

	entries = append(entries, comparableReadings(start.AddDays(420), 3, 0)...)
	says = schedule.ReadingsOf(in.Loop, withHistory(loops.Desktop, entries...).History)
	require.Len(t, says.Trends, 3, "mount and radiator tell where, the total for how long")
	assert.Equal(t, 10, says.Trends[2].Readings)
}

// The machine on the scale and the cooler on the scale are two rows.
func TestTheMachineAndTheCoolerAreNotOneWeight(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-02-01")
	cooler := func(after int, kg chemistry.Kilogram) loops.Entry {
		return loops.Entry{Kind: loops.KindWeighing, Day: start.AddDays(after), By: "test", Weighing: &loops.Weighing{Stage: loops.WeighedLater, Weight: kg, What: "the cooler"}}
	}
	machine := inspected(start.AddDays(50), func(x *loops.Inspection) { x.Weight = new(chemistry.Kilogram(8.2)) })
	plan := mustPlan(t, withHistory(loops.Desktop, cooler(0, 1.530), machine, cooler(100, 1.525), cooler(200, 1.520)))
	_, ok := clause(plan, loops.LeakCheckTask, loops.ByLoss)
	assert.False(t, ok, "nobody lost 6.7 kg")
	got, ok := clause(plan, loops.TopUpTask, loops.ByLoss)
	require.True(t, ok)
	assert.Contains(t, got.Text, "Loses 18.3 g a year (2 spans of 200 days")
}

// Too little glycol is put right by liquid, not by an inhibitor.
func TestAStrengthIsPutRightByTheCoolant(t *testing.T) {
	t.Parallel()
	in := withHistory(loops.Desktop, inspected(day(t, "2026-06-01"), func(x *loops.Inspection) { x.Mass = new(chemistry.MassFraction(0.15)) }))
	in.History[0].Fill.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}}
	in.Loop.State = loops.Fold(in.History)
	plan := mustPlan(t, in)
	_, dose := clause(plan, loops.InhibitorRenewal, loops.ByFinding)
	_, change := clause(plan, loops.CoolantChange, loops.ByFinding)
	assert.Equal(t, []bool{false, true}, []bool{dose, change})
}
