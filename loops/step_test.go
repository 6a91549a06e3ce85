// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func stepDone(d loops.Day, id loops.StepID) loops.Entry {
	return loops.Entry{Kind: loops.KindStep, Day: d, By: "test", Step: &loops.StepDone{Step: id}}
}

// Every step says what to do, what to mind and where that is from, and the
// phases come in the order of the work.
func TestStepTable(t *testing.T) {
	t.Parallel()
	seen := map[loops.StepID]bool{}
	for _, sealed := range []bool{true, false} {
		last := 0
		for _, s := range loops.StepsFor(sealed) {
			assert.NotEmpty(t, s.Do, s.ID)
			assert.NotEmpty(t, s.Caution, s.ID)
			assert.NotEmpty(t, s.Source, s.ID)
			assert.NotEmpty(t, s.Grade, s.ID)
			assert.Equal(t, s.Records == "", s.Unit == "", s.ID)
			phase := slices.Index(loops.StepPhases(), s.Phase)
			assert.GreaterOrEqual(t, phase, last, s.ID)
			last = phase
			seen[s.ID] = true
		}
		assert.Equal(t, len(loops.StepPhases())-1, last)
	}
	ids := loops.StepIDs()
	assert.Len(t, seen, len(ids), "each step is of a sealed or an open loop, and none stands there twice")
	var all strings.Builder
	for _, s := range loops.StepsFor(false) {
		all.WriteString(s.Do + " " + s.Caution + "\n")
	}
	for _, must := range []string{"warranty", "consent", "Photograph", "unplug", "Never run the pump dry", "below the air pocket", "full speed", "supply of its own", "unpowered", "24 hours", "alternately", "paste", "airflow", "circulation", "tilt", "against the flow", "µS/cm", "soft", "seal", "flakes"} {
		assert.Contains(t, all.String(), must)
	}
}

func TestStepsOf(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	intake := loops.Entry{Kind: loops.KindIntake, Day: d, By: "test", Intake: &loops.Intake{}}
	find := func(history []loops.Entry, id loops.StepID) loops.StepState {
		states := loops.StepsOf(false, history)
		i := slices.IndexFunc(states, func(s loops.StepState) bool { return s.ID == id })
		require.GreaterOrEqual(t, i, 0)
		return states[i]
	}
	history := numbered(intake, stepDone(d, "isolate"), stepDone(d.AddDays(1), "drain"))
	assert.Equal(t, d.AddDays(1), find(history, "drain").Done)
	assert.True(t, find(history, "clean").Open())
	strike := loops.Entry{Kind: loops.KindCorrection, Day: d.AddDays(2), By: "test", Correction: &loops.Correction{Strikes: 3, Why: "not yet"}}
	assert.True(t, find(numbered(append(history, strike)...), "drain").Open())
	handover := loops.Entry{Kind: loops.KindHandover, Day: d.AddDays(5), By: "test", Handover: &loops.Handover{}}
	assert.True(t, find(numbered(append(history, handover)...), "isolate").Open(), "the next visit begins again")
	back := loops.Entry{Kind: loops.KindReturn, Day: d.AddDays(5), By: "test", Return: &loops.Return{Why: "the owner wants it"}}
	assert.True(t, find(numbered(append(history, back)...), "isolate").Open(), "and so after it went back as it is")
	swap := loops.Entry{Kind: loops.KindSwap, Day: d.AddDays(5), By: "test", Swap: &loops.Swap{}}
	assert.True(t, find(numbered(append(history, swap)...), "drain").Open(), "nobody drained the other cooler")

	for name, wrong := range map[string]loops.StepDone{
		"no such step":                    {Step: "polish"},
		"a figure for a step without one": {Step: "warranty", Value: new(3.0)},
	} {
		e := stepDone(d, wrong.Step)
		e.Step = &wrong
		assert.Error(t, e.Validate(), name)
	}
}

func TestUsesOf(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-01-10")
	first := fill(d, 0.4)
	first.Fill.Poured = []loops.Pour{{Liquid: "premix", Fluid: "pg", Mass: 0.4, Volume: 0.4, Container: 7}, {Liquid: "tap", Fluid: "water", Volume: 0.1}}
	dose := loops.Entry{Kind: loops.KindDose, Day: d.AddDays(1), By: "test", Dose: &loops.Dose{Role: loops.RoleBiocide, Volume: 0.002, Container: 9}}
	history := numbered(first, dose)
	assert.Equal(t, map[loops.ContainerID][]loops.Use{7: {{Loop: 3, Day: d, Volume: 0.4}}, 9: {{Loop: 3, Day: d.AddDays(1), Volume: 0.002}}}, loops.UsesOf(3, history))
	strike := loops.Entry{Kind: loops.KindCorrection, Day: d.AddDays(2), By: "test", Correction: &loops.Correction{Strikes: 1, Why: "wrong bottle"}}
	assert.NotContains(t, loops.UsesOf(3, numbered(append(history, strike)...)), loops.ContainerID(7))

	dose.Dose.Volume = 0
	assert.ErrorContains(t, dose.Validate(), "how much came out")
}
