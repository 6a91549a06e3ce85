// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

// clause returns the first clause of a kind in a plan's task.
func clause(plan loops.Plan, kind loops.TaskKind, by loops.ClauseKind) (loops.Clause, bool) {
	t, _ := task(plan, kind)
	for _, c := range t.Clauses {
		if c.Kind == by {
			return c, true
		}
	}
	return loops.Clause{}, false
}

// inspected is an inspection entry of a day.
func inspected(d loops.Day, change func(*loops.Inspection)) loops.Entry {
	x := loops.Inspection{Verdict: loops.Good}
	change(&x)
	return loops.Entry{Kind: loops.KindInspection, Day: d, By: "test", Inspection: &x}
}

// withHistory returns an open desktop loop that the entries follow the fill of.
func withHistory(kind loops.MachineKind, entries ...loops.Entry) schedule.Input {
	in := filled(kind, false)
	fill := loops.Entry{Kind: loops.KindFill, Day: in.Loop.State.Charge.FilledTo, By: "test", Fill: &loops.Fill{Charge: *in.Loop.State.Charge}}
	handover := loops.Entry{Kind: loops.KindHandover, Day: fill.Day.AddDays(2), By: "test", Handover: &loops.Handover{}}
	in.History = append([]loops.Entry{fill, handover}, entries...)
	for i := range in.History {
		in.History[i].ID = loops.EntryID(i + 1)
	}
	in.Loop.State = loops.Fold(in.History)
	return in
}

func TestActionLimits(t *testing.T) {
	t.Parallel()
	read := day(t, "2026-06-01")
	ph := func(v float64) loops.Entry {
		return inspected(read, func(x *loops.Inspection) { x.PH = &v })
	}
	tests := []struct {
		name   string
		kind   loops.MachineKind
		change func(*schedule.Input)
		entry  loops.Entry
		task   loops.TaskKind
		text   string // "" = no finding
	}{
		{"server coolant turned sour", loops.Server, nil, ph(7.4), loops.CoolantChange, "pH 7.4 where it should be 8 to 10.5; read on Mon 1 Jun 2026."},
		{"inside the limits clears nothing and says nothing", loops.Server, nil, ph(9), loops.CoolantChange, ""},
		{"a desktop has the most lenient limit only", loops.Desktop, nil, ph(7.4), loops.CoolantChange, ""},
		{"below it too", loops.Desktop, nil, ph(5.9), loops.CoolantChange, "pH 5.9 where it should be at least 6; read on Mon 1 Jun 2026."},
		{"an inhibitor that can be renewed is", loops.BenchChiller, func(in *schedule.Input) {
			in.History[0].Fill.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}}
		}, ph(7.9), loops.InhibitorRenewal, "pH 7.9 where it should be at least 8; read on Mon 1 Jun 2026."},
		{"too weak", loops.Desktop, nil, inspected(read, func(x *loops.Inspection) { x.Mass = new(chemistry.MassFraction(0.15)) }),
			loops.CoolantChange, "Strength 14.5 vol % where it should be 20 to 60; read on Mon 1 Jun 2026."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := withHistory(tt.kind, tt.entry)
			if tt.change != nil {
				tt.change(&in)
				in.Loop.State = loops.Fold(in.History)
			}
			plan, err := schedule.PlanLoop(in)
			require.NoError(t, err)
			got, ok := clause(plan, tt.task, loops.ByFinding)
			assert.Equal(t, tt.text != "", ok)
			assert.Equal(t, tt.text, got.Text)
			if ok {
				assert.NotEmpty(t, got.OwnerText)
				assert.Contains(t, schedule.Grades(), got.Grade)
				assert.NotEqual(t, loops.ServiceCheck, tt.task)
			}
		})
	}
	topUp := loops.Entry{Kind: loops.KindTopUp, Day: read.AddDays(3), By: "test", TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.01}}}}
	plan, err := schedule.PlanLoop(withHistory(loops.Server, ph(7.4), topUp))
	require.NoError(t, err)
	_, ok := clause(plan, loops.CoolantChange, loops.ByFinding)
	assert.True(t, ok, "water poured in does not make the inhibitor last")
	dose := func(role loops.AdditiveRole) loops.Entry {
		return loops.Entry{Kind: loops.KindDose, Day: read.AddDays(4), By: "test", Dose: &loops.Dose{Role: role, Additive: loops.Additive{Family: "azole"}}}
	}
	for role, stands := range map[loops.AdditiveRole]bool{loops.RoleInhibitor: false, loops.RoleBiocide: true} {
		plan, err := schedule.PlanLoop(withHistory(loops.Server, ph(7.4), topUp, dose(role)))
		require.NoError(t, err)
		_, change := clause(plan, loops.CoolantChange, loops.ByFinding)
		_, renewal := clause(plan, loops.InhibitorRenewal, loops.ByFinding)
		assert.Equal(t, stands, change || renewal, "a dose of %s", role)
	}
}

func TestSeason(t *testing.T) {
	t.Parallel()
	frost := loops.MonthDay{Month: time.October, Dom: 15}
	tests := []struct {
		name   string
		change func(*schedule.Input)
		want   string
	}{
		{"thin margin", func(*schedule.Input) {}, "2026-10-01"},
		{"no frost expected", func(in *schedule.Input) { in.Policy.FirstFrost = loops.MonthDay{} }, ""},
		{"nothing can freeze", func(in *schedule.Input) { in.Loop.ColdestWall, in.Loop.NoFrost = nil, true }, ""},
		{"an evaporator is as cold in summer", func(in *schedule.Input) {
			in.Loop.ColdestWall, in.Loop.SetPoint, in.Loop.EvaporatorMargin = nil, new(chemistry.Celsius(-5)), new(chemistry.CelsiusDelta(3))
		}, ""},
		{"margin enough", func(in *schedule.Input) { in.Loop.ColdestWall = new(chemistry.Celsius(0)) }, ""},
		{"strength not known", func(in *schedule.Input) {
			in.Loop.ColdestWall, in.Loop.State.Charge.Mass = new(chemistry.Celsius(0)), nil
		}, "2026-10-01"},
		{"filled after this year's", func(in *schedule.Input) {
			in.Loop.State.Charge.FilledTo = loops.Day{Year: 2026, Month: time.November, Dom: 3}
			in.Loop.State.Charge.FilledFrom = in.Loop.State.Charge.FilledTo
		}, "2027-10-01"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := filled(loops.Desktop, false)
			// 30 mass % propylene glycol: first ice at about −13 °C.
			in.Policy.FirstFrost, in.Loop.ColdestWall = frost, new(chemistry.Celsius(-10))
			tt.change(&in)
			plan, err := schedule.PlanLoop(in)
			require.NoError(t, err)
			got, ok := clause(plan, loops.ServiceCheck, loops.BySeason)
			require.Equal(t, tt.want != "", ok)
			assert.Equal(t, tt.want, got.Day.String())
			if ok {
				assert.Contains(t, got.Text, "Before the first frost, expected on 15 Oct")
			}
		})
	}
	asks := filled(loops.Desktop, false)
	asks.Policy.FirstFrost = frost
	got, ok := clause(mustPlan(t, asks), loops.ServiceCheck, loops.BySeason)
	require.True(t, ok, "an unknown wall is neither warm nor cold")
	assert.Equal(t, "2026-10-01", got.Day.String())
	assert.Contains(t, got.Text, "Nobody said how cold the coldest wetted wall gets: ask before the first frost")
	assert.Contains(t, got.OwnerText, "Tell us")

	evaporator := filled(loops.BenchChiller, false)
	evaporator.Loop.SetPoint, evaporator.Loop.EvaporatorMargin = new(chemistry.Celsius(-10)), new(chemistry.CelsiusDelta(5))
	got, ok = clause(mustPlan(t, evaporator), loops.ServiceCheck, loops.BySeason)
	require.True(t, ok, "it freezes there, in summer too")
	assert.Equal(t, evaporator.Loop.State.Charge.FilledTo, got.Day)

	fresh := filled(loops.Desktop, false)
	fresh.Policy.FirstFrost, fresh.Loop.ColdestWall = loops.MonthDay{Month: time.February, Dom: 10}, new(chemistry.Celsius(-10))
	got, _ = clause(mustPlan(t, fresh), loops.ServiceCheck, loops.BySeason)
	assert.Equal(t, "2027-01-27", got.Day.String(), "mixed in the workshop seventeen days before: nobody is called back for that frost")

	measured := inspected(day(t, "2026-09-20"), func(x *loops.Inspection) { x.Mass = new(chemistry.MassFraction(0.3)) })
	in := withHistory(loops.Desktop, measured)
	in.Policy.FirstFrost, in.Loop.ColdestWall = frost, new(chemistry.Celsius(-10))
	plan, err := schedule.PlanLoop(in)
	require.NoError(t, err)
	got, _ = clause(plan, loops.ServiceCheck, loops.BySeason)
	assert.Equal(t, "2027-10-01", got.Day.String(), "measured for this winter already")
}

// No look can have been due before it was known that one is called for, nor
// within two months of a measurement that found the loop good.
// comparableReadings are one every 60 days, the mount resistance growing by so
// much from one to the next.
func comparableReadings(start loops.Day, n int, growth float64) []loops.Entry {
	var entries []loops.Entry
	for i := range n {
		mount := 0.10 + growth*float64(i)
		entries = append(entries, inspected(start.AddDays(60*i), func(x *loops.Inspection) {
			x.Room, x.CoolantIn, x.PowerW, x.Steady = new(chemistry.Celsius(20)), new(chemistry.Celsius(26)), new(100.0), true
			x.Die = new(chemistry.Celsius(26 + 100*mount))
		}))
	}
	return entries
}

func TestTrendClause(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-02-01")
	plan, err := schedule.PlanLoop(withHistory(loops.Desktop, comparableReadings(start, 6, 0.002)...))
	require.NoError(t, err)
	got, ok := clause(plan, loops.ServiceCheck, loops.ByTrend)
	require.True(t, ok)
	// The line passes 1.3 × 0.102 = 0.1326 after (0.1326 − 0.10)/0.002 = 16.3 steps of 60 days.
	assert.InDelta(t, 16.3*60, float64(got.Day.Sub(start)), 1)
	assert.Contains(t, got.Text, "The mount resistance rises by 0.0122 K/W a year and may reach its limit 0.133 K/W (1.3 times the baseline 0.102 K/W)")
	assert.Contains(t, got.Text, "a guess", "16 steps are more than twice the 5 that were read")

	_, ok = clause(mustPlan(t, withHistory(loops.Desktop, comparableReadings(start, 6, 0)...)), loops.ServiceCheck, loops.ByTrend)
	assert.False(t, ok, "no drift, no day")
	_, ok = clause(mustPlan(t, withHistory(loops.Desktop, comparableReadings(start, 3, 0.002)...)), loops.ServiceCheck, loops.ByTrend)
	assert.False(t, ok, "three readings are too few")

	high := append(comparableReadings(start, 3, 0), comparableReadings(start.AddDays(180), 1, 0)...)
	high[3].Inspection.Die = new(chemistry.Celsius(26 + 14))
	finding, ok := clause(mustPlan(t, withHistory(loops.Desktop, high...)), loops.ServiceCheck, loops.ByFinding)
	require.True(t, ok)
	assert.Equal(t, start.AddDays(180), finding.Day)
	assert.Contains(t, finding.Text, "0.140 K/W, above its limit 0.130 K/W")
	proof := loops.Entry{Kind: loops.KindProof, Day: start.AddDays(181), By: "test", Proof: &loops.Proof{Before: *high[3].Inspection, After: *high[0].Inspection}}
	_, ok = clause(mustPlan(t, withHistory(loops.Desktop, append(high, proof)...)), loops.ServiceCheck, loops.ByFinding)
	assert.False(t, ok, "a repair begins a new row")
}

func mustPlan(t require.TestingT, in schedule.Input) loops.Plan {
	plan, err := schedule.PlanLoop(in)
	require.NoError(t, err)
	return plan
}

func TestLossClauses(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-02-01")
	weighings := func(grams ...float64) []loops.Entry {
		var out []loops.Entry
		for i, g := range grams {
			out = append(out, loops.Entry{Kind: loops.KindWeighing, Day: start.AddDays(100 * i), By: "test",
				Weighing: &loops.Weighing{Stage: loops.WeighedLater, Weight: chemistry.Kilogram(10 - g/1000)}})
		}
		return out
	}
	in := withHistory(loops.Desktop, weighings(0, 5, 10)...)
	got, ok := clause(mustPlan(t, in), loops.TopUpTask, loops.ByLoss)
	require.True(t, ok)
	// 0.05 g a day; 5 % of 500 ml of 30 mass % propylene glycol (1.0228 kg/l) is 25.6 g.
	assert.Equal(t, in.Loop.State.Charge.FilledTo.AddDays(511), got.Day)
	assert.Contains(t, got.Text, "Loses 18.3 g a year")
	_, ok = clause(mustPlan(t, in), loops.LeakCheckTask, loops.ByLoss)
	assert.False(t, ok, "as much as before")

	in = withHistory(loops.Desktop, weighings(0, 5, 10, 40)...)
	got, ok = clause(mustPlan(t, in), loops.LeakCheckTask, loops.ByLoss)
	require.True(t, ok)
	assert.Equal(t, start.AddDays(300), got.Day)
	assert.Contains(t, got.Text, "Lost 30.0 g from ")
	assert.Contains(t, got.Text, "110 g a year, where its own baseline is 18 g a year")
	in.Loop.State.LastLeakCheck = start.AddDays(300)
	_, ok = clause(mustPlan(t, in), loops.LeakCheckTask, loops.ByLoss)
	assert.False(t, ok, "checked since")

	in = withHistory(loops.Desktop, weighings(0, 1, 2)...)
	_, ok = clause(mustPlan(t, in), loops.TopUpTask, loops.ByLoss)
	assert.False(t, ok, "less than a scale can tell")

	sealed := filled(loops.Desktop, true)
	sealed.History = weighings(0, 5, 10)
	_, ok = clause(mustPlan(t, sealed), loops.ServiceCheck, loops.ByLoss)
	assert.True(t, ok, "a sealed loop is not topped up but looked at")

	// By the level where nothing was weighed; a top-up begins a new row.
	missing := func(d loops.Day, ml float64) loops.Entry {
		return inspected(d, func(x *loops.Inspection) { x.Missing = new(chemistry.Litre(ml / 1000)) })
	}
	topUp := loops.Entry{Kind: loops.KindTopUp, Day: start.AddDays(101), By: "test", TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.01}}}}
	level := withHistory(loops.Desktop, missing(start.AddDays(100), 10), topUp, missing(start.AddDays(201), 10))
	got, ok = clause(mustPlan(t, level), loops.TopUpTask, loops.ByLoss)
	require.True(t, ok)
	assert.Contains(t, got.Text, "2 spans of 222 days")
	assert.Contains(t, got.Text, "topped up on")
}

// Each additive is renewed by its own life, and the interval counts from the one
// that has gone longest without.
func TestEachAdditiveByItsOwnLife(t *testing.T) {
	t.Parallel()
	in := filled(loops.Desktop, false)
	fill := in.Loop.State.Charge.FilledTo
	in.Loop.State.Charge.Additives = []loops.Dosed{
		{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone", LifeMonths: 12}},
		{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "bronopol", Product: "Drop B", LifeMonths: 3, Added: fill.AddDays(20)}},
	}
	renewal, ok := task(mustPlan(t, in), loops.BiocideRenewal)
	require.True(t, ok)
	lives := map[loops.Day]string{}
	for _, c := range renewal.Clauses {
		if c.Kind == loops.ByDeclaredLife {
			lives[c.Day] = c.Text
		} else {
			assert.Contains(t, c.Text, "filled on "+fill.Long(), "the older of the two")
		}
	}
	assert.Equal(t, map[loops.Day]string{
		fill.AddMonths(12):            "The label gives the biocide isothiazolinone 12 months; filled on " + fill.Long() + ".",
		fill.AddDays(20).AddMonths(3): "The label gives the biocide Drop B 3 months; biocide Drop B last added on " + fill.AddDays(20).Long() + ".",
	}, lives)
	assert.Equal(t, fill.AddDays(20).AddMonths(3), renewal.Due)
}

func TestContainerClause(t *testing.T) {
	t.Parallel()
	in := filled(loops.Desktop, false)
	expires := day(t, "2026-05-01")
	fill := in.Loop.State.Charge.FilledTo
	in.Loop.State.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Product: "Drop B"}}}
	bottle := func(kind loops.ContainerKind, product string, loop loops.LoopID, used loops.Day) loops.Container {
		return loops.Container{Kind: kind, Product: product, Lot: "L-3", Expires: expires, Uses: []loops.Use{{Loop: loop, Day: used, Volume: 0.1}}}
	}
	in.Containers = []loops.Container{
		bottle(loops.PremixBottle, "Bench Blue", 12, fill),
		bottle(loops.AdditiveBottle, "Drop B", 12, fill),
		bottle(loops.AdditiveBottle, "Drop C", 12, fill),
		bottle(loops.PremixBottle, "of another loop", 13, fill),
		bottle(loops.PremixBottle, "of an earlier charge", 12, fill.AddDays(-9)),
	}
	plan := mustPlan(t, in)
	got, ok := clause(plan, loops.CoolantChange, loops.ByDeclaredLife)
	require.True(t, ok)
	assert.Equal(t, expires, got.Day)
	assert.Equal(t, "Filled from Bench Blue, lot L-3, good until Fri 1 May 2026.", got.Text)
	got, ok = clause(plan, loops.BiocideRenewal, loops.ByDeclaredLife)
	require.True(t, ok)
	assert.Equal(t, "label of Drop B, lot L-3", got.Source)
	change, _ := task(plan, loops.CoolantChange)
	assert.Len(t, change.Clauses, 2)
}

// Whatever the history: every clause says why, to both readers, and from where.
func TestEveryClauseIsComplete(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		in := anyInput(t)
		for i := range rapid.IntRange(0, 8).Draw(t, "entries") {
			d := in.Loop.State.Charge.FilledTo.AddDays(rapid.IntRange(0, 1500).Draw(t, "day"))
			e := inspected(d, func(x *loops.Inspection) {
				x.Die, x.Room = new(chemistry.Celsius(rapid.Float64Range(30, 95).Draw(t, "die"))), new(chemistry.Celsius(20))
				x.PowerW, x.Steady = new(rapid.Float64Range(30, 200).Draw(t, "power")), true
				x.PH = new(rapid.Float64Range(4, 11).Draw(t, "ph"))
				x.Weight = new(chemistry.Kilogram(rapid.Float64Range(9.9, 10).Draw(t, "weight")))
			})
			e.ID = loops.EntryID(i + 1)
			in.History = append(in.History, e)
		}
		in.Policy.FirstFrost = loops.MonthDay{Month: time.October, Dom: 15}
		in.Loop.ColdestWall = new(chemistry.Celsius(-12))
		for _, task := range mustPlan(t, in).Tasks {
			for _, c := range task.Clauses {
				assert.NotEmpty(t, c.Text)
				assert.NotEmpty(t, c.OwnerText, c.Text)
				assert.NotEmpty(t, c.Source)
				assert.Contains(t, schedule.Grades(), c.Grade)
				for _, jargon := range []string{"loop", "charge", "inhibitor", "biocide", "coolant", "resistance"} {
					assert.NotContains(t, c.OwnerText, jargon)
				}
				assert.False(t, c.Day.Before(task.Due))
			}
		}
	})
}
