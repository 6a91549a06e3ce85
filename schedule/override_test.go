// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/schedule"
)

func TestOverrideCountsBeforeEveryShippedFigure(t *testing.T) {
	t.Parallel()
	p, err := schedule.WithOverrides(schedule.DefaultPolicy(), []schedule.Override{
		{Task: loops.CoolantChange, Months: 18, Why: "five years of our own"},
		{Task: loops.CoolantChange, Machines: []loops.MachineKind{loops.Workstation}, Build: "open", Months: 9},
		{Task: loops.Look, Build: "sealed", Days: 45},
	})
	require.NoError(t, err)
	assert.NotEqual(t, schedule.DefaultPolicy().Version, p.Version)
	in := filled(loops.Desktop, false)
	in.Policy = p
	change, _ := task(mustPlan(t, in), loops.CoolantChange)
	assert.Equal(t, "2027-07-10", change.Due.String())
	require.Len(t, change.Clauses, 1)
	assert.Equal(t, "this workshop's configuration: five years of our own", change.Binding().Source)
	assert.Equal(t, schedule.GradeOwn, change.Binding().Grade)
	in.Machine.Kind = loops.Workstation
	change, _ = task(mustPlan(t, in), loops.CoolantChange)
	assert.Equal(t, "2026-10-10", change.Due.String())

	same, err := schedule.WithOverrides(schedule.DefaultPolicy(), nil)
	require.NoError(t, err)
	assert.Equal(t, schedule.DefaultPolicy(), same)
	other, err := schedule.WithOverrides(schedule.DefaultPolicy(), []schedule.Override{{Task: loops.CoolantChange, Months: 19}})
	require.NoError(t, err)
	assert.NotEqual(t, p.Version, other.Version, "another figure, another version")
}

func TestOverridesRefused(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, text string
		overrides  []schedule.Override
	}{
		{"two for the same loops", "one interval for the same loops; line 0 gives another", []schedule.Override{
			{Task: loops.Look, Months: 2}, {Task: loops.Look, Months: 3}}},
		{"two that meet", "one interval for the same loops", []schedule.Override{
			{Task: loops.Look, Build: "open", Months: 2}, {Task: loops.Look, Machines: []loops.MachineKind{loops.Desktop}, Months: 3}}},
		{"a sealed loop topped up", "it is not opened to add anything", []schedule.Override{{Task: loops.TopUpTask, Build: "sealed", Months: 2}}},
		{"no interval", "either days (1 to 3660) or months (1 to 240)", []schedule.Override{{Task: loops.Look}}},
		{"both", "either days", []schedule.Override{{Task: loops.Look, Days: 3, Months: 3}}},
		{"zero", "either days", []schedule.Override{{Task: loops.Look, Days: 0}}},
		{"negative", "either days", []schedule.Override{{Task: loops.Look, Months: -1}}},
		{"absurd", "either days", []schedule.Override{{Task: loops.Look, Months: 5000}}},
		{"unknown task", `one of ["look"`, []schedule.Override{{Task: "polish", Months: 2}}},
		{"unknown machine", `of ["desktop"`, []schedule.Override{{Task: loops.Look, Machines: []loops.MachineKind{"toaster"}, Months: 2}}},
		{"unknown build", "sealed, open", []schedule.Override{{Task: loops.Look, Build: "shut", Months: 2}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			p, err := schedule.WithOverrides(schedule.DefaultPolicy(), tt.overrides)
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			assert.ErrorContains(t, err, tt.text)
			assert.Empty(t, p)
		})
	}
	_, err := schedule.WithOverrides(schedule.DefaultPolicy(), []schedule.Override{
		{Task: loops.Look, Build: "open", Months: 2}, {Task: loops.Look, Build: "sealed", Months: 3}, {Task: loops.Look, Machines: []loops.MachineKind{loops.Server}, Build: "open", Months: 1}})
	assert.NoError(t, err, "these never meet at the same number of conditions")
}

func TestPolicyRefuses(t *testing.T) {
	t.Parallel()
	for text, change := range map[string]func(*loops.Policy){
		"first_frost":    func(p *loops.Policy) { p.FirstFrost = loops.MonthDay{Month: 13, Dom: 1} },
		"limits[0].low":  func(p *loops.Policy) { p.Limits[0].Low, p.Limits[0].High = new(9.0), new(8.0) },
		"limits[1].low":  func(p *loops.Policy) { p.Limits[1].Low, p.Limits[1].High = nil, nil },
		"quantity":       func(p *loops.Policy) { p.Limits[0].Quantity = "smell" },
		"days that rise": func(p *loops.Policy) { p.LastDays = p.LateDays },
		"policy.version": func(p *loops.Policy) { p.Version = "" },
	} {
		p := schedule.DefaultPolicy()
		change(&p)
		assert.ErrorContains(t, p.Validate(), text)
	}
	require.NoError(t, schedule.DefaultPolicy().Validate())
}
