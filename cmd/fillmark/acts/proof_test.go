// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// atBench is a filled and checked loop of a machine of the kind.
func atBench(kind loops.MachineKind, set *chemistry.Celsius) acts.Snapshot {
	s := snapshot(filled(-3), checked(-2, 24, true))
	s.Machine.Kind, s.Loop.SetPoint = kind, set
	return s
}

func TestProofOfChiller(t *testing.T) {
	t.Parallel()
	set := new(chemistry.Celsius(12))
	before := []string{"before-coolant-in=17C", "before-coolant-out=20C", "before-power=400W"}
	after := func(out, back, power string) []string {
		return append([]string{"coolant-in=" + out, "coolant-out=" + back, "power=" + power, "steady"}, before...)
	}
	for name, c := range map[string]struct {
		machine acts.Snapshot
		words   []string
		want    string
	}{
		"holds what it did not":            {atBench(loops.BenchChiller, set), after("12C", "15C", "400W"), "go"},
		"set point said":                   {atBench(loops.LaserChiller, nil), append(after("12C", "15C", "400W"), "set-point=12C"), "go"},
		"below the room, below zero":       {atBench(loops.LaserChiller, new(chemistry.Celsius(-10))), append(after("-10C", "-5C", "400W"), "room=24C"), "go"},
		"held before as well":              {atBench(loops.BenchChiller, new(chemistry.Celsius(17))), after("17C", "20C", "400W"), "stop not-proved; refused"},
		"does not hold":                    {atBench(loops.BenchChiller, set), after("15C", "18C", "400W"), "stop not-proved; refused"},
		"half the heat":                    {atBench(loops.BenchChiller, set), after("12C", "14C", "200W"), "stop not-proved; refused"},
		"no set point anywhere":            {atBench(loops.BenchChiller, nil), after("12C", "15C", "400W"), "impossible: set-point: the chiller's set point"},
		"nothing comes back":               {atBench(loops.BenchChiller, set), append([]string{"coolant-in=12C", "power=400W"}, before...), "impossible: coolant-out: "},
		"a chiller read like a cold plate": {atBench(loops.BenchChiller, set), []string{"die=52C", "room=22C", "power=100W", "steady", "before-die=92C", "before-room=22C", "before-power=100W"}, "go"},
		"no chiller":                       {atBench(loops.Desktop, set), after("12C", "15C", "400W"), "impossible: die: "},
	} {
		got := settled(t, line(t, "proof", c.words...), c.machine)
		assert.Contains(t, got, c.want, name)
	}
}

// TestChillerGoesBackProved follows a chiller from its readings before the work
// to its hand-over.
func TestChillerGoesBackProved(t *testing.T) {
	t.Parallel()
	in := entry(-9, loops.KindIntake)
	in.Intake = &loops.Intake{Complaint: "does not cool"}
	s := snapshot(in)
	s.Machine.Kind, s.Loop.SetPoint, s.Loop.NoFrost = loops.BenchChiller, new(chemistry.Celsius(12)), true
	enter := func(days int, a acts.Act) {
		for _, e := range a.Apply(s, today.AddDays(days)).Entries {
			e.ID = loops.EntryID(len(s.History) + 1)
			s.History = append(s.History, e)
		}
		s.Loop.State = loops.Fold(s.History)
	}
	enter(-8, line(t, "readings", "coolant-in=17C", "coolant-out=20C", "power=400W"))
	s.History = append(s.History, filled(-3), checked(-2, 24, true))
	handover := line(t, "handover", "mail-consent")
	assert.Contains(t, settled(t, handover, s), "stop unproved")
	proof := line(t, "proof", "coolant-in=12C", "coolant-out=15C", "power=400W", "steady")
	assert.Equal(t, "go", settled(t, proof, s))
	enter(-1, proof)
	assert.Equal(t, "go", settled(t, handover, s))
	last := s.History[len(s.History)-1]
	assert.Equal(t, 17.0, float64(*last.Proof.Before.CoolantIn), "the readings of this stay stand before it")
	assert.Contains(t, acts.Words(last), "set point 12.0 °C")
	assert.False(t, s.Loop.State.LastKnownGood.IsZero())
}

// Where another cooler was fitted, its own readings are those after the repair.
func TestProofOfAnotherCooler(t *testing.T) {
	t.Parallel()
	in := entry(-9, loops.KindIntake)
	in.Intake = &loops.Intake{Complaint: "too hot"}
	s := snapshot(in, filled(-90))
	readings := func(days int, die string) {
		for _, e := range line(t, "readings", "die="+die, "room=20C", "power=90W", "steady").Apply(s, today.AddDays(days)).Entries {
			e.ID = loops.EntryID(len(s.History) + 1)
			s.History = append(s.History, e)
		}
	}
	readings(-8, "81C")
	swap := entry(-7, loops.KindSwap)
	swap.ID, swap.Swap = loops.EntryID(len(s.History)+1), &loops.Swap{OldUnit: loops.OldUnitKept, Fluid: chemistry.PropyleneGlycol}
	s.History = append(s.History, swap)
	readings(-6, "62C")
	s.Loop.State = loops.Fold(s.History)
	proof := line(t, "proof", "die=61C", "room=20C", "power=90W", "steady").Apply(s, today).Entries[0].Proof
	assert.Equal(t, 81.0, float64(*proof.Before.Die))
}
