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

// daily gives entries their numbers and one day after the other.
func daily(entries ...loops.Entry) []loops.Entry {
	for i := range entries {
		entries[i].ID, entries[i].Day = loops.EntryID(i+1), loops.Day{Year: 2026, Month: 3, Dom: 1}.AddDays(i)
	}
	return entries
}

func half() loops.Entry {
	return loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: loops.Charge{
		Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Volume: 0.5, Origin: loops.WorkshopFill, FilledTo: loops.Day{Year: 2026, Month: 3, Dom: 1},
	}}}
}

// What is taken out before a top-up takes its glycol with it: 0.5 l of which
// 0.25 l are replaced by water come to half the strength, by mass.
func TestDrainedLiquidCountsAtATopUp(t *testing.T) {
	t.Parallel()
	topUp := loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Drained: 0.25, Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: 0.25}}}}
	s := loops.Fold(daily(half(), topUp))
	require.NotNil(t, s.Charge.Mass)
	assert.InDelta(t, 0.204, float64(*s.Charge.Mass), 0.003) // 0.25 l at 1.034 kg/l hold 103 g of glycol, in 509 g
	assert.InDelta(t, 0.5, float64(s.Charge.Volume), 1e-9)
	undrained := loops.Fold(daily(half(), loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: topUp.TopUp.Poured}}))
	assert.Greater(t, float64(*undrained.Charge.Mass), float64(*s.Charge.Mass)+0.05)
	assert.Equal(t, loops.Calculated, s.Charge.MassKnown.How)
}

// What was missing was not in the loop when it was topped up: of 1 l of which
// 0.2 l lack, with 40 mass % at 1.034 kg/l, 0.2 l of water make 331 g of glycol in
// 1027 g. The loop holds no more after it than it did when it was full.
func TestWhatWasMissingIsNotThinned(t *testing.T) {
	t.Parallel()
	full := half()
	full.Fill.Charge.Volume = 1
	full.Fill.Charge.Additives = []loops.Dosed{{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole", DoseMLPerL: 2}}}
	gap := func(missing chemistry.Litre) loops.Entry {
		return loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{Missing: &missing, Verdict: loops.NotJudged}}
	}
	water := func(poured, missing chemistry.Litre) loops.Entry {
		return loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Missing: missing, Poured: []loops.Pour{{Liquid: "water", Fluid: chemistry.TreatedWater, Volume: poured}}}}
	}
	for name, history := range map[string][]loops.Entry{
		"at once":      {full, gap(0.2), water(0.2, 0)},
		"in two steps": {full, gap(0.2), water(0.15, 0.05), water(0.05, 0)},
		"seen between": {full, gap(0.2), water(0.15, 0.05), gap(0.05), water(0.05, 0)},
	} {
		s := loops.Fold(daily(history...))
		assert.InDelta(t, 0.3226, float64(*s.Charge.Mass), 0.002, name)
		assert.InDelta(t, 1, float64(s.Charge.Volume), 1e-9, name)
		doses := loops.SinceFillOf(daily(history...)).Doses
		require.Len(t, doses, 1, name)
		assert.InDelta(t, 0.8, doses[0].Level, 0.01, name)
	}
	s := loops.Fold(daily(full, gap(0.2), loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Drained: 0.81, Poured: water(1, 0).TopUp.Poured}}))
	assert.Nil(t, s.Charge.Mass, "more was taken out than was in it")
	assert.Equal(t, loops.NotKnown, s.Charge.MassKnown.How)
}

// A glycol's strength of which nobody said how sure it is, is taken to be off, and
// says so; what was said before does not vouch for it.
func TestAStrengthIsNeverExact(t *testing.T) {
	t.Parallel()
	read := loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{Mass: new(chemistry.MassFraction(0.3)), MassKnown: loops.Known{By: "refractometer"}, Verdict: loops.NotJudged}}
	c := loops.Fold(daily(half(), read)).Charge
	assert.InDelta(t, 0.01, float64(c.MassUncertainty), 1e-12)
	assert.Equal(t, "refractometer; ± 1.0 mass % assumed", c.MassKnown.By)
	sure := half()
	sure.Fill.Charge.MassUncertainty = 0.04
	assert.InDelta(t, 0.01, float64(loops.Fold(daily(sure, read)).Charge.MassUncertainty), 1e-12)
	read.Inspection.MassUncertainty = 0.005
	c = loops.Fold(daily(half(), read)).Charge
	assert.InDelta(t, 0.005, float64(c.MassUncertainty), 1e-12)
	assert.Equal(t, "refractometer", c.MassKnown.By)
	for _, how := range []loops.How{loops.OnLabel, loops.OwnerSays, ""} {
		said := half()
		said.Fill.Charge.MassKnown.How = how
		assert.InDelta(t, 0.02, float64(loops.Fold(daily(said)).Charge.MassUncertainty), 1e-12, how)
	}
	water := half()
	water.Fill.Charge.Fluid, water.Fill.Charge.Mass = chemistry.TreatedWater, new(chemistry.MassFraction(0))
	assert.Zero(t, loops.Fold(daily(water)).Charge.MassUncertainty, "there is no glycol in it")
}

// What lies outside the wetted loop does not end its charge, and clears it of what
// a measurement had only seen.
func TestACauseOutsideTheLoopFailsNoCharge(t *testing.T) {
	t.Parallel()
	opened := func(cause loops.Cause) loops.Entry {
		return loops.Entry{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: cause}}
	}
	bad := loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{Verdict: loops.Failed}}
	for _, tt := range []struct {
		history []loops.Entry
		cause   loops.Cause
	}{
		{[]loops.Entry{half(), opened(loops.CauseRadiatorDust)}, ""},
		{[]loops.Entry{half(), opened(loops.CauseMount)}, ""},
		{[]loops.Entry{half(), bad}, loops.CauseOther},
		{[]loops.Entry{half(), bad, opened(loops.CauseFan)}, ""},
		{[]loops.Entry{half(), bad, opened(loops.CauseNone)}, loops.CauseOther},
		{[]loops.Entry{half(), bad, opened(loops.CauseClog)}, loops.CauseClog},
		{[]loops.Entry{half(), opened(loops.CauseClog), opened(loops.CauseFan)}, loops.CauseClog},
		{[]loops.Entry{half(), opened(loops.CauseOther)}, loops.CauseOther},
		{[]loops.Entry{half(), bad, opened(loops.CauseOther), opened(loops.CauseMount)}, loops.CauseOther},
		{[]loops.Entry{half(), opened(loops.CauseClog), half(), bad, opened(loops.CauseMount)}, ""},
	} {
		s := loops.Fold(daily(tt.history...))
		assert.Equal(t, tt.cause, s.Cause)
		assert.Equal(t, tt.cause != "", !s.Failed.IsZero(), tt.cause)
	}
}

// A loop that leaks, is contaminated or went back as it is gains no life, however
// good it reads.
func TestALoopThatIsNotSoundGainsNoLife(t *testing.T) {
	t.Parallel()
	read := func(die chemistry.Celsius) loops.Inspection {
		return loops.Inspection{Die: &die, Room: new(chemistry.Celsius(22)), PowerW: new(100.0), Steady: true, Verdict: loops.Good}
	}
	proof := loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{Before: read(92), After: read(52)}}
	again := loops.Entry{Kind: loops.KindInspection, Inspection: new(read(52))}
	poison := loops.TopUp{Poured: []loops.Pour{{Liquid: "eg", Fluid: chemistry.EthyleneGlycol, Mass: 0.9, Volume: 0.01}}}
	for _, tt := range []struct {
		between loops.Entry
		good    bool
	}{
		{loops.Entry{Kind: loops.KindNote, Note: "looked at"}, true},
		{loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}}, true},
		{loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 2}}, false},
		{loops.Entry{Kind: loops.KindTopUp, TopUp: &poison}, false},
		{loops.Entry{Kind: loops.KindReturn, Return: &loops.Return{Why: "theirs"}}, false},
	} {
		history := daily(half(), proof, tt.between, again)
		s := loops.Fold(history)
		assert.Equal(t, tt.good, s.LastKnownGood == history[3].Day, tt.between.Kind)
		assert.False(t, s.LastKnownGood.IsZero())
	}
}

// An hour meter is the machine's, whatever cools it; what was left of the old
// charge's additives is not the new one's.
func TestWhatASwapKeeps(t *testing.T) {
	t.Parallel()
	intake := loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "hot", RunningHours: new(8120.0)}}
	swap := func(fluid chemistry.Fluid) loops.Entry {
		return loops.Entry{Kind: loops.KindSwap, Swap: &loops.Swap{OldUnit: loops.OldUnitKept, Fluid: fluid}}
	}
	s := loops.Fold(daily(intake, half(), swap(chemistry.TreatedWater)))
	assert.InDelta(t, 8120, s.RunningHours, 0)
	require.NotNil(t, s.Charge.Mass, "there is no glycol in water")
	assert.Zero(t, *s.Charge.Mass)
	assert.Nil(t, loops.Fold(daily(half(), swap(chemistry.PropyleneGlycol))).Charge.Mass)
	assert.Equal(t, loops.SinceFill{}, loops.SinceFillOf(daily(half(), swap(""))))
}

func TestHourMeterOutlivesAFill(t *testing.T) {
	t.Parallel()
	intake := loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: "hot", RunningHours: new(8120.0)}}
	assert.InDelta(t, 8120, loops.Fold(daily(intake, half())).RunningHours, 0)
}

// "All fine" answers the task it was asked about and no other.
func TestAllFineAnswersOneTask(t *testing.T) {
	t.Parallel()
	fine := loops.Entry{Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.AllFine, Tasks: []loops.TaskKind{loops.Look}}}
	s := loops.Fold(daily(half(), fine))
	for _, task := range loops.TaskKinds() {
		assert.Equal(t, task == loops.Look, !s.AnsweredOn(task).IsZero(), task)
	}
	assert.True(t, s.LastService.IsZero(), "an owner's word is no service")
	assert.True(t, s.LastKnownGood.IsZero())
}

// A pH that was read before a dose says nothing of the charge after it.
func TestDoseForgetsThePH(t *testing.T) {
	t.Parallel()
	read := loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{PH: new(7.1), Verdict: loops.NotJudged}}
	dose := loops.Entry{Kind: loops.KindDose, Dose: &loops.Dose{Role: loops.RoleInhibitor, Additive: loops.Additive{Family: "azole"}}}
	assert.NotNil(t, loops.SinceFillOf(daily(half(), read)).PH)
	assert.Nil(t, loops.SinceFillOf(daily(half(), read, dose)).PH)
	assert.NotNil(t, loops.SinceFillOf(daily(half(), dose, read)).PH)
}

// A difference within what the readings can be wrong by proves nothing, by the
// state as by the readings.
func TestProofNeedsMoreThanItsUncertainty(t *testing.T) {
	t.Parallel()
	proof := func(after chemistry.Celsius, power float64, steady bool, verdict loops.Judgement) loops.Proof {
		read := func(die chemistry.Celsius, power float64) loops.Inspection {
			return loops.Inspection{Die: &die, Room: new(chemistry.Celsius(22)), PowerW: &power, Verdict: loops.NotJudged}
		}
		p := loops.Proof{Before: read(62, 100), After: read(after, power)}
		p.After.Steady, p.After.Verdict = steady, verdict
		return p
	}
	for _, tt := range []struct {
		name  string
		proof loops.Proof
		valid bool
	}{
		{"half the rise", proof(42, 100, true, loops.Good), true},
		{"one kelvin", proof(61, 100, true, loops.Good), false},
		{"warmer", proof(70, 100, true, loops.Good), false},
		{"a quarter less power", proof(42, 76, true, loops.Good), true},
		{"less than that", proof(42, 74, true, loops.Good), false},
		{"still climbing", proof(42, 100, false, loops.Good), false},
		{"to be watched", proof(42, 100, true, loops.Watch), false},
	} {
		assert.Equal(t, tt.valid, tt.proof.Valid(), tt.name)
		s := loops.Fold(daily(half(), loops.Entry{Kind: loops.KindProof, Proof: &tt.proof}))
		assert.Equal(t, tt.valid, !s.Unproved(), tt.name)
		assert.Equal(t, tt.valid, !s.LastKnownGood.IsZero(), tt.name)
	}
}
