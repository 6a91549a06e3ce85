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
