// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
	"fillmark/loops"
)

// fill is a workshop charge of propylene glycol.
func fill(d loops.Day, mass chemistry.MassFraction) loops.Entry {
	return loops.Entry{Kind: loops.KindFill, Day: d, By: "test", Fill: &loops.Fill{Charge: loops.Charge{
		Fluid: chemistry.PropyleneGlycol, Mass: &mass, Volume: 0.5, Origin: loops.WorkshopFill, FilledFrom: d, FilledTo: d,
	}}}
}

func comparable(d loops.Day, verdict loops.Judgement) loops.Entry {
	return loops.Entry{Kind: loops.KindInspection, Day: d, By: "test", Inspection: &loops.Inspection{
		Die: new(chemistry.Celsius(55)), Room: new(chemistry.Celsius(21)), PowerW: new(90.0), Verdict: verdict,
	}}
}

// proof is one whose resistance falls from 0.9 to 0.43 K/W, at the powers given.
func proof(d loops.Day, before, after float64) loops.Entry {
	return loops.Entry{Kind: loops.KindProof, Day: d, By: "test", Proof: &loops.Proof{
		Before: loops.Inspection{Die: new(chemistry.Celsius(20 + 0.9*before)), Room: new(chemistry.Celsius(20)), PowerW: &before, Verdict: loops.Failed},
		After:  loops.Inspection{Die: new(chemistry.Celsius(20 + 0.43*after)), Room: new(chemistry.Celsius(20)), PowerW: &after, Steady: true, Verdict: loops.Good},
	}}
}

func poured(d loops.Day, fluid chemistry.Fluid, mass chemistry.MassFraction) loops.Entry {
	return loops.Entry{Kind: loops.KindTopUp, Day: d, By: "test", TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "x", Fluid: fluid, Mass: mass, Volume: 0.05}}}}
}

func leakCheck(d loops.Day, hours float64, dry bool) loops.Entry {
	return loops.Entry{Kind: loops.KindLeakCheck, Day: d, By: "test", LeakCheck: &loops.LeakCheck{Hours: hours, Dry: dry}}
}

// States that only the right act clears.
func TestStatesStandUntilTheActThatSettlesThem(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	drain := loops.Entry{Kind: loops.KindDrain, Day: d.AddDays(20), By: "test", Drain: &loops.Drain{}}
	flush := loops.Entry{Kind: loops.KindFlush, Day: d.AddDays(21), By: "test"}
	refill := fill(d.AddDays(22), 0.4)
	reading := loops.Entry{Kind: loops.KindInspection, Day: d.AddDays(12), By: "test", Inspection: &loops.Inspection{Mass: new(chemistry.MassFraction(0.42)), Verdict: loops.NotJudged}}

	t.Run("contaminated until drained, rinsed and filled", func(t *testing.T) {
		mixed := []loops.Entry{fill(d, 0.4), poured(d.AddDays(10), chemistry.EthyleneGlycol, 0.95), reading}
		s := loops.Fold(numbered(mixed...))
		require.NotNil(t, s.Contaminated)
		assert.Equal(t, "ethylene glycol in propylene glycol", s.Contaminated.String())
		assert.Nil(t, s.Charge.Mass, "no scale reads a mixture")
		assert.Empty(t, s.Charge.Fluid)
		assert.NotNil(t, loops.Fold(numbered(append(mixed, drain, refill)...)).Contaminated, "not rinsed")
		assert.NotNil(t, loops.Fold(numbered(append(mixed, refill)...)).Contaminated, "filled on top")
		s = loops.Fold(numbered(append(mixed, drain, flush, refill)...))
		assert.Nil(t, s.Contaminated)
		assert.InDelta(t, 0.4, float64(*s.Charge.Mass), 1e-12)
	})
	t.Run("another glycol on what a drain left", func(t *testing.T) {
		eg := fill(d.AddDays(22), 0.4)
		eg.Fill.Charge.Fluid = chemistry.EthyleneGlycol
		assert.NotNil(t, loops.Fold(numbered(fill(d, 0.4), drain, eg)).Contaminated)
		assert.Nil(t, loops.Fold(numbered(fill(d, 0.4), drain, flush, eg)).Contaminated)
	})
	t.Run("water into glycol is no contamination, glycol into deionised water is", func(t *testing.T) {
		assert.Nil(t, loops.Fold(numbered(fill(d, 0.4), poured(d.AddDays(1), chemistry.TreatedWater, 0))).Contaminated)
		di := fill(d, 0)
		di.Fill.Charge.Fluid = chemistry.DeionisedWater
		assert.NotNil(t, loops.Fold(numbered(di, poured(d.AddDays(1), chemistry.TreatedWater, 0))).Contaminated)
		assert.Nil(t, loops.Fold(numbered(di, poured(d.AddDays(1), chemistry.DeionisedWater, 0))).Contaminated)
	})
	t.Run("leaking until a dry check of full length", func(t *testing.T) {
		wet := []loops.Entry{fill(d, 0.4), leakCheck(d.AddDays(1), 2, false)}
		assert.False(t, loops.Fold(numbered(wet...)).Leaking.IsZero())
		assert.False(t, loops.Fold(numbered(append(wet, leakCheck(d.AddDays(2), 23.9, true))...)).Leaking.IsZero())
		assert.False(t, loops.Fold(numbered(append(wet, fill(d.AddDays(2), 0.4))...)).Leaking.IsZero(), "a fill seals no joint")
		s := loops.Fold(numbered(append(wet, leakCheck(d.AddDays(2), 24, true))...))
		assert.True(t, s.Leaking.IsZero())
		assert.Equal(t, d.AddDays(2), s.LastLeakCheck)
	})
	t.Run("unproved until a valid proof", func(t *testing.T) {
		assert.True(t, loops.Fold(numbered(fill(d, 0.4))).Unproved())
		assert.True(t, loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 45, 120))).Unproved(), "45 W and 120 W do not compare")
		assert.True(t, loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 45, 120))).LastKnownGood.IsZero())
		s := loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 90, 120)))
		assert.False(t, s.Unproved(), "a quarter apart still compares")
		assert.Equal(t, d.AddDays(1), s.LastKnownGood)
		assert.True(t, loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 89.9, 120))).Unproved())
	})
	t.Run("what was retired gains no life", func(t *testing.T) {
		retired := loops.Entry{Kind: loops.KindRetirement, Day: d.AddDays(30), By: "test", Retirement: &loops.Retirement{Reason: loops.ReplacedByAir}}
		s := loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 80, 80), retired, comparable(d.AddDays(270), loops.Good), proof(d.AddDays(271), 80, 80)))
		assert.Equal(t, d.AddDays(1), s.LastKnownGood)
		assert.Equal(t, d.AddDays(1), s.LastService)
	})
	t.Run("a strength by itself is no service check", func(t *testing.T) {
		s := loops.Fold(numbered(fill(d, 0.4), reading))
		assert.True(t, s.LastService.IsZero())
		assert.Equal(t, loops.Measured, s.Charge.MassKnown.How)
		assert.Equal(t, d.AddDays(12), s.Charge.MassKnown.On)
	})
	t.Run("went back as it is", func(t *testing.T) {
		back := loops.Entry{Kind: loops.KindReturn, Day: d.AddDays(3), By: "test", Return: &loops.Return{Why: "the owner wants it back"}}
		s := loops.Fold(numbered(fill(d, 0.4), back))
		assert.False(t, s.InService())
		assert.Equal(t, d.AddDays(3), s.ReturnedAsIs)
	})
	t.Run("another cooler is another life", func(t *testing.T) {
		swap := loops.Entry{Kind: loops.KindSwap, Day: d.AddDays(90), By: "test", Swap: &loops.Swap{OldUnit: loops.OldUnitKept, Sealed: new(true)}}
		s := loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 80, 80), swap))
		assert.True(t, s.LastKnownGood.IsZero())
		assert.Equal(t, loops.Factory, s.Charge.Origin)
		assert.Empty(t, s.Charge.Fluid)
	})
}

func numbered(entries ...loops.Entry) []loops.Entry {
	for i := range entries {
		entries[i].ID = loops.EntryID(i + 1)
	}
	return entries
}

func TestFold(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	t.Run("only a comparable good measurement makes a loop known good", func(t *testing.T) {
		unmeasured := comparable(d.AddDays(1), loops.Good)
		unmeasured.Inspection.PowerW = nil
		answer := loops.Entry{Kind: loops.KindAnswer, Day: d.AddDays(5), By: "owner", Answer: &loops.Answer{Answer: loops.AllFine}}
		s := loops.Fold(numbered(fill(d, 0.4), unmeasured, answer))
		assert.True(t, s.LastKnownGood.IsZero())
		assert.Equal(t, d.AddDays(5), s.LastLook)
		s = loops.Fold(numbered(fill(d, 0.4), comparable(d.AddDays(3), loops.Good)))
		assert.True(t, s.LastKnownGood.IsZero(), "nothing proves the repair yet")
		s = loops.Fold(numbered(fill(d, 0.4), proof(d.AddDays(1), 80, 80), comparable(d.AddDays(3), loops.Good)))
		assert.Equal(t, d.AddDays(3), s.LastKnownGood)
	})
	t.Run("a correction strikes out, and a struck correction strikes nothing", func(t *testing.T) {
		strike := func(id loops.EntryID) loops.Entry {
			return loops.Entry{Kind: loops.KindCorrection, Day: d.AddDays(9), By: "test", Correction: &loops.Correction{Strikes: id, Why: "typo"}}
		}
		history := numbered(fill(d, 0.4), fill(d.AddDays(1), 0.3), strike(2))
		assert.InDelta(t, 0.4, float64(*loops.Fold(history).Charge.Mass), 1e-12)
		history = numbered(append(history, strike(3))...)
		assert.InDelta(t, 0.3, float64(*loops.Fold(history).Charge.Mass), 1e-12)
	})
	t.Run("an opening with a cause ends the charge's life, a fill begins a new one", func(t *testing.T) {
		opened := loops.Entry{Kind: loops.KindOpening, Day: d.AddDays(300), By: "test", Opening: &loops.Opening{Cause: loops.CauseClog}}
		s := loops.Fold(numbered(fill(d, 0.4), opened))
		assert.Equal(t, loops.CauseClog, s.Cause)
		s = loops.Fold(numbered(fill(d, 0.4), opened, fill(d.AddDays(301), 0.4)))
		assert.True(t, s.Failed.IsZero())
	})
	t.Run("a drained loop holds nothing", func(t *testing.T) {
		s := loops.Fold(numbered(fill(d, 0.4), loops.Entry{Kind: loops.KindDrain, Day: d.AddDays(2), By: "test", Drain: &loops.Drain{}}))
		assert.Nil(t, s.Charge)
	})
}

// Water added to a charge thins it by the balance of masses: at 20 °C a
// density of 40 mass % propylene glycol times its volume, plus the water.
func TestTopUpKeepsTheGlycol(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	topUp := loops.Entry{Kind: loops.KindTopUp, Day: d.AddDays(40), By: "test", TopUp: &loops.TopUp{Poured: []loops.Pour{
		{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.1},
	}}}
	charge := loops.Fold(numbered(fill(d, 0.4), topUp)).Charge
	density, err := chemistry.Density(chemistry.PropyleneGlycol, 0.4, 20)
	require.NoError(t, err)
	water, err := chemistry.Density(chemistry.TreatedWater, 0, 20)
	require.NoError(t, err)
	before := 0.5 * float64(density)
	assert.InDelta(t, before*0.4/(before+0.1*float64(water)), float64(*charge.Mass), 1e-9)
	assert.InDelta(t, 0.6, float64(charge.Volume), 1e-9)

	topUp.TopUp.Poured[0] = loops.Pour{Liquid: "other", Fluid: chemistry.EthyleneGlycol, Mass: 0.9, Volume: 0.1}
	assert.Nil(t, loops.Fold(numbered(fill(d, 0.4), topUp)).Charge.Mass, "a mixture of glycols has no known strength")
}

// folded is all that is folded from a history, without the entries' numbers,
// which say only in what order they were recorded.
type folded struct {
	state    loops.State
	steps    []loops.StepState
	loss     loops.WeighedLoss
	lost     bool
	weighed  []loops.Weighing
	uses     map[loops.ContainerID][]loops.Use
	standing []loops.EntryKind
}

func foldAll(history []loops.Entry) folded {
	f := folded{state: loops.Fold(history), steps: loops.StepsOf(false, history), uses: loops.UsesOf(1, history)}
	for i := range f.steps {
		f.steps[i].Entry = 0 // numbers are given in the order of recording
	}
	f.loss, f.lost = loops.WeighedLossOf(history)
	for _, w := range loops.WeighingsOf(history) {
		f.weighed = append(f.weighed, w.Weighing)
	}
	for _, e := range loops.Standing(history) {
		f.standing = append(f.standing, e.Kind)
	}
	return f
}

// Entries on different days give the same state in whatever order they were
// recorded, with any of them struck out.
func TestFoldDoesNotDependOnTheOrderOfRecording(t *testing.T) {
	t.Parallel()
	start := day(t, "2025-01-01")
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "entries")
		days := rapid.SliceOfNDistinct(rapid.IntRange(0, 700), n, n, rapid.ID).Draw(t, "days")
		var entries []loops.Entry
		for _, offset := range days {
			d := start.AddDays(offset)
			kinds := []loops.Entry{
				fill(d, chemistry.MassFraction(rapid.Float64Range(0.1, 0.6).Draw(t, "mass"))),
				comparable(d, rapid.SampledFrom([]loops.Judgement{loops.Good, loops.Watch, loops.Failed}).Draw(t, "verdict")),
				{Kind: loops.KindOpening, Day: d, By: "test", Opening: &loops.Opening{Cause: loops.CauseClog}},
				{Kind: loops.KindTopUp, Day: d, By: "test", TopUp: &loops.TopUp{Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.01, Container: 3}}}},
				{Kind: loops.KindTopUp, Day: d, By: "test", TopUp: &loops.TopUp{Drained: 0.02, Missing: 0.01, Poured: []loops.Pour{{Liquid: "pg", Fluid: chemistry.PropyleneGlycol, Mass: 0.95, Volume: 0.03}}}},
				{Kind: loops.KindDose, Day: d, By: "test", Dose: &loops.Dose{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "bronopol", LifeMonths: rapid.IntRange(1, 24).Draw(t, "life")}, Volume: 0.001, Container: 4}},
				{Kind: loops.KindAnswer, Day: d, By: "owner", Answer: &loops.Answer{Answer: rapid.SampledFrom([]loops.AnswerKind{loops.AllFine, loops.SomethingOff}).Draw(t, "answer")}},
				{Kind: loops.KindLeakCheck, Day: d, By: "test", LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}},
				{Kind: loops.KindProof, Day: d, By: "test", Proof: &loops.Proof{Before: loops.Inspection{Verdict: loops.NotJudged}, After: *comparable(d, loops.Good).Inspection}},
				{Kind: loops.KindTransfer, Day: d, By: "test", Transfer: &loops.Transfer{To: 2}},
				{Kind: loops.KindHandover, Day: d, By: "test", Handover: &loops.Handover{}},
				{Kind: loops.KindDrain, Day: d, By: "test", Drain: &loops.Drain{}},
				{Kind: loops.KindIntake, Day: d, By: "test", Intake: &loops.Intake{RunningHours: new(rapid.Float64Range(0, 9000).Draw(t, "hours"))}},
				{Kind: loops.KindRetirement, Day: d, By: "test", Retirement: &loops.Retirement{Reason: loops.LostSightOf}},
				weighing(d, rapid.SampledFrom(loops.WeighingStages()).Draw(t, "stage"), chemistry.Kilogram(rapid.Float64Range(1, 2).Draw(t, "weight"))),
				{Kind: loops.KindStep, Day: d, By: "test", Step: &loops.StepDone{Step: rapid.SampledFrom(loops.StepIDs()).Draw(t, "step")}},
				{Kind: loops.KindSetting, Day: d, By: "test", Setting: &loops.Setting{Task: loops.Look, IntervalMonths: rapid.IntRange(0, 9).Draw(t, "months")}},
			}
			entries = append(entries, rapid.SampledFrom(kinds).Draw(t, "kind"))
		}
		struck := rapid.SliceOfNDistinct(rapid.IntRange(0, n-1), 0, n, rapid.ID).Draw(t, "struck")
		// Corrections of corrections, some of them twice over.
		undone := rapid.SliceOfN(rapid.IntRange(1, max(1, len(struck))), 0, len(struck)).Draw(t, "undone")
		record := func(order []int, atOnce bool) folded {
			var history []loops.Entry
			add := func(e loops.Entry) loops.EntryID {
				e.ID = loops.EntryID(len(history) + 1)
				history = append(history, e)
				return e.ID
			}
			strike := func(id loops.EntryID, on loops.Day) loops.EntryID {
				return add(loops.Entry{Kind: loops.KindCorrection, Day: on, By: "test", Correction: &loops.Correction{Strikes: id, Why: "wrong"}})
			}
			ids, corrections := map[int]loops.EntryID{}, map[int]loops.EntryID{}
			for _, i := range order {
				ids[i] = add(entries[i])
				if atOnce && slices.Contains(struck, i) {
					corrections[i] = strike(ids[i], entries[i].Day)
				}
			}
			for _, i := range struck {
				if !atOnce {
					corrections[i] = strike(ids[i], start.AddDays(800))
				}
			}
			for _, i := range undone {
				if i <= len(struck) {
					strike(corrections[struck[i-1]], start.AddDays(801))
				}
			}
			return foldAll(history)
		}
		order := make([]int, n)
		for i := range order {
			order[i] = i
		}
		first := record(order, false)
		other := rapid.Permutation(slices.Clone(order)).Draw(t, "order")
		assert.Equal(t, first, record(other, false))
		assert.Equal(t, first, record(other, true), "each struck as soon as it was recorded")
	})
}
