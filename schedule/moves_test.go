// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops"
)

// entries that a history of the tests is made from, on a day.
var (
	empty = func(d loops.Day) loops.Entry {
		return inspected(d, func(x *loops.Inspection) { x.Verdict = loops.NotJudged })
	}
	weighedOnly = func(d loops.Day) loops.Entry {
		return inspected(d, func(x *loops.Inspection) { x.Verdict, x.Weight = loops.NotJudged, new(chemistry.Kilogram(12)) })
	}
	judged = func(d loops.Day) loops.Entry {
		return inspected(d, func(x *loops.Inspection) { x.Verdict = loops.Watch })
	}
	measured = func(d loops.Day) loops.Entry {
		return inspected(d, func(x *loops.Inspection) {
			x.Die, x.Room, x.PowerW = new(chemistry.Celsius(60)), new(chemistry.Celsius(20)), new(90.0)
		})
	}
	missing = func(d loops.Day, gap chemistry.Litre) loops.Entry {
		return inspected(d, func(x *loops.Inspection) { x.Verdict, x.Missing = loops.NotJudged, &gap })
	}
	poured = func(d loops.Day, fluid chemistry.Fluid, mass chemistry.MassFraction, volume, left chemistry.Litre) loops.Entry {
		return loops.Entry{Kind: loops.KindTopUp, Day: d, By: "test", TopUp: &loops.TopUp{
			Poured: []loops.Pour{{Liquid: string(fluid), Fluid: fluid, Mass: mass, Volume: volume}}, Missing: left,
		}}
	}
	leakChecked = func(d loops.Day, hours float64, dry bool) loops.Entry {
		return loops.Entry{Kind: loops.KindLeakCheck, Day: d, By: "test", LeakCheck: &loops.LeakCheck{Hours: hours, Dry: dry}}
	}
	answered = func(d loops.Day, kind loops.AnswerKind) loops.Entry {
		return loops.Entry{Kind: loops.KindAnswer, Day: d, By: "test", Answer: &loops.Answer{Answer: kind, Tasks: loops.TaskKinds()}}
	}
	water = func(d loops.Day, volume chemistry.Litre) loops.Entry {
		return poured(d, chemistry.TreatedWater, 0, volume, 0)
	}
)

// dosed is a dose of azole or of isothiazolinone.
func dosed(d loops.Day, role loops.AdditiveRole) loops.Entry {
	family := map[loops.AdditiveRole]string{loops.RoleInhibitor: "azole", loops.RoleBiocide: "isothiazolinone"}[role]
	return loops.Entry{Kind: loops.KindDose, Day: d, By: "test", Dose: &loops.Dose{Role: role, Additive: loops.Additive{Family: family}}}
}

// Each clause moves by the figure or the judgement that stands for it, and by
// none of the others.
func TestClausesMoveOnlyByWhatStandsForThem(t *testing.T) {
	t.Parallel()
	on := day(t, "2026-06-01")
	all := map[string]loops.Entry{
		"an empty form": empty(on), "a weight alone": weighedOnly(on), "a judgement": judged(on), "a measurement": measured(on),
		"a level": missing(on, 0), "a top-up": water(on, 0.005), "a short dry check": leakChecked(on, 2, true), "a full dry check": leakChecked(on, 24, true),
		"all fine": answered(on, loops.AllFine), "inhibitor": dosed(on, loops.RoleInhibitor), "biocide": dosed(on, loops.RoleBiocide),
	}
	moves := map[loops.TaskKind][]string{
		// Whoever has the machine in hand for a figure has looked at it.
		loops.Look:             {"a weight alone", "a judgement", "a measurement", "a level", "all fine"},
		loops.ServiceCheck:     {"a judgement", "a measurement"},
		loops.InhibitorRenewal: {"inhibitor"},
		loops.BiocideRenewal:   {"biocide"},
		loops.CoolantChange:    nil,
		loops.LeakCheckTask:    {"a full dry check"},
	}
	plan := func(entries ...loops.Entry) loops.Plan {
		in := withHistory(loops.Desktop)
		charge := &in.History[0].Fill.Charge
		charge.Fluid, charge.Mass = chemistry.TreatedWater, new(chemistry.MassFraction(0))
		charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}, {Role: loops.RoleBiocide, Additive: loops.Additive{Family: "isothiazolinone"}}}
		// The first look is done, so that what remains is the interval.
		in.History = append(in.History, answered(day(t, "2026-01-20"), loops.AllFine))
		in.History = append(in.History, entries...)
		for i := range in.History {
			in.History[i].ID = loops.EntryID(i + 1)
		}
		in.Loop.State = loops.Fold(in.History)
		return mustPlan(t, in)
	}
	before := plan()
	for name, e := range all {
		after := plan(e)
		for kind, by := range moves {
			was, ok := task(before, kind)
			require.True(t, ok, kind)
			is, ok := task(after, kind)
			require.True(t, ok, "%s after %s", kind, name)
			moved := is.Due.After(was.Due)
			assert.Equal(t, contains(by, name), moved, "%s by %s: %s to %s", kind, name, was.Due, is.Due)
		}
	}
}

func contains(names []string, name string) bool {
	return slices.Contains(names, name)
}

// The owner's concern is settled by a judgement or a measurement, not by a form.
func TestAConcernIsSettledByAJudgement(t *testing.T) {
	t.Parallel()
	off := answered(day(t, "2026-03-01"), loops.SomethingOff)
	for _, tt := range []struct {
		name   string
		entry  loops.Entry
		stands bool
	}{
		{"an empty form", empty(day(t, "2026-03-02")), true}, {"a weight alone", weighedOnly(day(t, "2026-03-02")), true},
		{"a top-up", water(day(t, "2026-03-02"), 0.005), true}, {"a judgement", judged(day(t, "2026-03-02")), false},
		{"a measurement", measured(day(t, "2026-03-02")), false},
	} {
		_, ok := clause(mustPlan(t, withHistory(loops.Desktop, off, tt.entry)), loops.ServiceCheck, loops.ByFinding)
		assert.Equal(t, tt.stands, ok, tt.name)
	}
}

// A strength read too low is put right by what is poured, and only if the
// balance says so.
func TestStrengthFindingFollowsTheBalance(t *testing.T) {
	t.Parallel()
	weak := inspected(day(t, "2026-06-01"), func(x *loops.Inspection) { x.Mass = new(chemistry.MassFraction(0.15)) })
	for name, tt := range map[string]struct {
		poured loops.Entry
		stands bool
	}{
		"water":       {water(day(t, "2026-06-02"), 0.02), true},
		"concentrate": {poured(day(t, "2026-06-02"), chemistry.PropyleneGlycol, 0.95, 0.2, 0), false},
	} {
		_, ok := clause(mustPlan(t, withHistory(loops.Desktop, weak, tt.poured)), loops.CoolantChange, loops.ByFinding)
		assert.Equal(t, tt.stands, ok, name)
	}
}

// UFC 3-240-13FN: more than 2 % of the volume in less than four months; the
// loop holds 500 ml.
func TestLeakRule(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name    string
		entries []loops.Entry
		want    string // day of the finding; "" = none
		text    string
	}{
		{"fast", []loops.Entry{missing(day(t, "2026-05-09"), 0.03)}, "2026-05-09",
			"6 % of the volume gone where 2 % in 4 months is too much; filled on Sat 10 Jan 2026, seen on Sat 9 May 2026."},
		{"over four months", []loops.Entry{missing(day(t, "2026-05-10"), 0.03)}, "", ""},
		{"2 % is not more than 2 %", []loops.Entry{missing(day(t, "2026-05-09"), 0.01)}, "", ""},
		{"a little more is", []loops.Entry{missing(day(t, "2026-05-09"), 0.0101)}, "2026-05-09",
			"2 % of the volume gone where 2 % in 4 months is too much; filled on Sat 10 Jan 2026, seen on Sat 9 May 2026."},
		{"topped up since", []loops.Entry{missing(day(t, "2026-05-09"), 0.03), water(day(t, "2026-05-10"), 0.03)}, "2026-05-09",
			"6 % of the volume gone where 2 % in 4 months is too much; filled on Sat 10 Jan 2026, seen on Sat 9 May 2026."},
		{"seen by what went in alone", []loops.Entry{water(day(t, "2026-05-09"), 0.03)}, "2026-05-09",
			"6 % of the volume gone where 2 % in 4 months is too much; filled on Sat 10 Jan 2026, seen on Sat 9 May 2026."},
		{"little by little", []loops.Entry{water(day(t, "2026-03-01"), 0.008), water(day(t, "2026-04-01"), 0.008)}, "2026-04-01",
			"3 % of the volume gone where 2 % in 4 months is too much; filled on Sat 10 Jan 2026, seen on Wed 1 Apr 2026."},
		{"what was taken out is not lost", []loops.Entry{{Kind: loops.KindTopUp, Day: day(t, "2026-05-09"), By: "test", TopUp: &loops.TopUp{
			Drained: 0.05, Poured: []loops.Pour{{Liquid: "pg", Fluid: chemistry.PropyleneGlycol, Mass: 0.95, Volume: 0.05}}}}}, "", ""},
		{"a short check clears nothing", []loops.Entry{missing(day(t, "2026-05-09"), 0.03), leakChecked(day(t, "2026-05-11"), 23.9, true)}, "2026-05-09",
			"6 % of the volume gone where 2 % in 4 months is too much; filled on Sat 10 Jan 2026, seen on Sat 9 May 2026."},
		{"a dry one of full length does", []loops.Entry{missing(day(t, "2026-05-09"), 0.03), leakChecked(day(t, "2026-05-11"), 24, true)}, "", ""},
		{"one before does not", []loops.Entry{leakChecked(day(t, "2026-01-11"), 24, true), missing(day(t, "2026-05-09"), 0.03)}, "2026-05-09",
			"6 % of the volume gone where 2 % in 4 months is too much; checked for leaks on Sun 11 Jan 2026, seen on Sat 9 May 2026."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got, ok := clause(mustPlan(t, withHistory(loops.Desktop, tt.entries...)), loops.LeakCheckTask, loops.ByFinding)
			require.Equal(t, tt.want != "", ok, got.Text)
			if ok {
				assert.Equal(t, tt.want, got.Day.String())
				assert.Equal(t, tt.text, got.Text)
			}
		})
	}
}

// No top-up makes a leak finding go, nor moves it to a later day.
func TestNoTopUpRemovesALeakFinding(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-01-10")
	rapid.Check(t, func(t *rapid.T) {
		var entries []loops.Entry
		d := start
		for range rapid.IntRange(1, 6).Draw(t, "looks") {
			d = d.AddDays(rapid.IntRange(1, 90).Draw(t, "after"))
			gap := chemistry.Litre(rapid.Float64Range(0, 0.05).Draw(t, "missing"))
			if rapid.Bool().Draw(t, "top-up") {
				entries = append(entries, poured(d, chemistry.TreatedWater, 0, gap+0.0001, 0))
			} else {
				entries = append(entries, missing(d, gap))
			}
		}
		was, ok := clause(mustPlan(t, withHistory(loops.Desktop, entries...)), loops.LeakCheckTask, loops.ByFinding)
		if !ok {
			return
		}
		entries = append(entries, water(d.AddDays(rapid.IntRange(0, 200).Draw(t, "topped up after")), chemistry.Litre(rapid.Float64Range(0.0001, 0.1).Draw(t, "poured"))))
		is, ok := clause(mustPlan(t, withHistory(loops.Desktop, entries...)), loops.LeakCheckTask, loops.ByFinding)
		require.True(t, ok, "the finding of %s is gone", was.Day)
		assert.Equal(t, was.Day, is.Day)
	})
}

// A contaminated loop is due fresh liquid at once and a leaking one a leak
// check; no pause and no answer puts that off, only the right act.
func TestConditionsAreDueAtOnce(t *testing.T) {
	t.Parallel()
	on := day(t, "2026-03-01")
	eg := poured(on, chemistry.EthyleneGlycol, 0.95, 0.02, 0)
	wet := leakChecked(on, 2, false)
	pause := func(kind loops.TaskKind) loops.Entry {
		return loops.Entry{Kind: loops.KindSetting, Day: on, By: "test", Setting: &loops.Setting{Task: kind, Paused: true}}
	}
	for _, tt := range []struct {
		name    string
		entries []loops.Entry
		task    loops.TaskKind
		urgent  bool
	}{
		{"contaminated", []loops.Entry{eg}, loops.CoolantChange, true},
		{"contaminated, paused", []loops.Entry{eg, pause(loops.CoolantChange)}, loops.CoolantChange, true},
		{"contaminated, a strength read", []loops.Entry{eg, inspected(on.AddDays(1), func(x *loops.Inspection) { x.Mass = new(chemistry.MassFraction(0.4)) })}, loops.CoolantChange, true},
		{"contaminated, judged good", []loops.Entry{eg, judged(on.AddDays(1))}, loops.CoolantChange, true},
		{"contaminated, answered", []loops.Entry{eg, answered(on.AddDays(1), loops.AllFine)}, loops.CoolantChange, true},
		{"leaking", []loops.Entry{wet}, loops.LeakCheckTask, true},
		{"leaking, topped up", []loops.Entry{wet, water(on.AddDays(1), 0.001)}, loops.LeakCheckTask, true},
		{"leaking, a short check", []loops.Entry{wet, leakChecked(on.AddDays(1), 23.9, true)}, loops.LeakCheckTask, true},
		{"leaking, a dry check", []loops.Entry{wet, leakChecked(on.AddDays(1), 24, true)}, loops.LeakCheckTask, false},
	} {
		got, ok := task(mustPlan(t, withHistory(loops.Desktop, tt.entries...)), tt.task)
		require.True(t, ok, tt.name)
		assert.Equal(t, tt.urgent, got.Due == on, "%s: %s", tt.name, got.Binding().Text)
		if tt.urgent {
			assert.False(t, got.Paused, tt.name)
			assert.Contains(t, got.Binding().OwnerText, "keep children and animals away", tt.name)
		}
	}
}

// A loop that went back as it is gets no plan that calls it good.
func TestReturnedAsItIsHasNoPlan(t *testing.T) {
	t.Parallel()
	back := loops.Entry{Kind: loops.KindReturn, Day: day(t, "2026-03-01"), By: "test", Return: &loops.Return{Why: "not repaired"}}
	assert.Empty(t, mustPlan(t, withHistory(loops.Desktop, back)).Tasks)
}

// An additive's bottle counts until the next dose: one from another bottle
// takes its place.
func TestADoseFromAnotherBottleTakesItsPlace(t *testing.T) {
	t.Parallel()
	in := withHistory(loops.Desktop, dosed(day(t, "2026-06-01"), loops.RoleBiocide))
	bottle := func(id loops.ContainerID, used, good string) loops.Container {
		return loops.Container{ID: id, Kind: loops.AdditiveBottle, Product: "Keep Clear", Expires: day(t, good), Uses: []loops.Use{{Loop: 12, Day: day(t, used)}}}
	}
	in.Loop.State.Charge.Additives[0].Product = "Keep Clear"
	in.Containers = []loops.Container{bottle(1, "2026-01-10", "2026-07-01"), bottle(2, "2026-06-01", "2028-01-01")}
	got, ok := clause(mustPlan(t, in), loops.BiocideRenewal, loops.ByDeclaredLife)
	require.True(t, ok)
	assert.Equal(t, "2028-01-01", got.Day.String())
}

// A loop that has lost too much once is looked at, however calm it was since.
func TestACalmSpanClearsNoLoss(t *testing.T) {
	t.Parallel()
	weighed := func(d string, kg chemistry.Kilogram) loops.Entry {
		return inspected(day(t, d), func(x *loops.Inspection) { x.Verdict, x.Weight = loops.NotJudged, &kg })
	}
	entries := []loops.Entry{weighed("2026-02-01", 12), weighed("2026-03-01", 11.999), weighed("2026-04-01", 11.960), weighed("2026-05-01", 11.9595)}
	got, ok := clause(mustPlan(t, withHistory(loops.Desktop, entries...)), loops.LeakCheckTask, loops.ByLoss)
	require.True(t, ok)
	assert.Equal(t, "2026-04-01", got.Day.String())
	entries = append(entries, leakChecked(day(t, "2026-05-02"), 24, true))
	_, ok = clause(mustPlan(t, withHistory(loops.Desktop, entries...)), loops.LeakCheckTask, loops.ByLoss)
	assert.False(t, ok)
}

// Worse news never makes the first due day later. What was overdue may be done
// by the same act (a gap is gone once something is poured), so a day before the
// news counts as the day of the news.
func TestWorseIsNeverDueLater(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-01-10")
	rapid.Check(t, func(t *rapid.T) {
		var entries []loops.Entry
		d := start
		for range rapid.IntRange(0, 6).Draw(t, "entries") {
			d = d.AddDays(rapid.IntRange(1, 60).Draw(t, "after"))
			entries = append(entries, rapid.SampledFrom([]loops.Entry{
				empty(d), judged(d), measured(d), missing(d, 0.02), water(d, 0.01), leakChecked(d, 24, true), answered(d, loops.AllFine),
			}).Draw(t, "entry"))
		}
		first := func(all []loops.Entry) loops.Day {
			due := loops.Day{Year: 2100, Month: 1, Dom: 1}
			for _, task := range mustPlan(t, withHistory(loops.Desktop, all...)).Tasks {
				if task.Due.Before(due) {
					due = task.Due
				}
			}
			return due
		}
		// The level stays as it was: what is made up is no worse.
		gap := withHistory(loops.Desktop, entries...).Loop.State.Missing
		worse := rapid.SampledFrom([]loops.Entry{poured(d, chemistry.EthyleneGlycol, 0.5, 0.01, gap), leakChecked(d, 1, false), answered(d, loops.SomethingOff)}).Draw(t, "worse")
		was, is := first(entries), first(append(entries, worse))
		if was.Before(d) {
			was = d
		}
		assert.False(t, is.After(was), fmt.Sprintf("%s, then %s", was, is))
	})
}
