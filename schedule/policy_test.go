// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/schedule"
)

func TestDefaultPolicy(t *testing.T) {
	t.Parallel()
	p := schedule.DefaultPolicy()
	require.NoError(t, p.Validate())
	require.NotEmpty(t, p.Intervals)
	for _, i := range p.Intervals {
		assert.Contains(t, schedule.Grades(), i.Grade)
		assert.NotContains(t, i.Source, "memory", "figures only remembered decide nothing")
		assert.Equal(t, i.Grade == schedule.GradeCommon, strings.HasPrefix(i.Source, "common practice, no source"),
			"%s: a figure without a source is marked so, and no other is", i.Task)
	}
	for _, l := range p.Limits {
		assert.Contains(t, schedule.Grades(), l.Grade, l.Source)
	}
	assert.Equal(t, [4]int{7, 7, 21, 35}, [4]int{p.AheadDays, p.LateDays, p.LastDays, p.CallDays})
	assert.Equal(t, [3]int{30, 14, 8}, [3]int{p.JoinDays, p.SpacingDays, p.LettersAYear})
}

// The figures that have a source are those of the source.
func TestPolicyFiguresOfSources(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name     string
		task     loops.TaskKind
		machine  loops.MachineKind
		interval string
		grade    string
	}{
		{"manual of an industrial YAG laser, p. 42", loops.BiocideRenewal, loops.LaserChiller, "3 months", schedule.GradeMaker},
		{"operators' calendar, propylene glycol 25 %", loops.ServiceCheck, loops.Server, "3 months", schedule.GradeReport},
		{"hobby pages, custom computer loops", loops.CoolantChange, loops.Desktop, "12 months", schedule.GradePage},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := filled(tt.machine, false)
			in.Loop.State.Charge.Additives = []loops.Dosed{{Role: loops.RoleBiocide, Additive: loops.Additive{Family: "glutaraldehyde"}}}
			plan, err := schedule.PlanLoop(in)
			require.NoError(t, err)
			got, ok := task(plan, tt.task)
			require.True(t, ok)
			assert.Contains(t, got.Binding().Text, "every "+tt.interval+";")
			assert.Equal(t, tt.grade, got.Binding().Grade)
		})
	}
}

// Of the figures that fit, the most specific count; equally specific ones all
// do, and the earliest binds.
func TestMostSpecificIntervalCounts(t *testing.T) {
	t.Parallel()
	open, sealed := false, true
	interval := func(months int, sealed *bool, machines ...loops.MachineKind) loops.Interval {
		return loops.Interval{Task: loops.ServiceCheck, Months: months, Sealed: sealed, Machines: machines, Source: "common practice, no source", Grade: schedule.GradeCommon}
	}
	tests := []struct {
		name      string
		intervals []loops.Interval
		want      string
		clauses   int
	}{
		{"general alone", []loops.Interval{interval(12, nil)}, "2027-01-10", 1},
		{"special is longer", []loops.Interval{interval(12, nil), interval(24, nil, loops.Desktop)}, "2028-01-10", 1},
		{"equally special", []loops.Interval{interval(24, &open), interval(6, nil, loops.Desktop), interval(1, nil)}, "2026-07-10", 2},
		{"special for others", []loops.Interval{interval(12, nil), interval(1, &sealed), interval(1, nil, loops.Server)}, "2027-01-10", 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			in := filled(loops.Desktop, false)
			in.Policy.Intervals = tt.intervals
			plan, err := schedule.PlanLoop(in)
			require.NoError(t, err)
			require.Len(t, plan.Tasks, 1)
			assert.Equal(t, tt.want, plan.Tasks[0].Due.String())
			assert.Len(t, plan.Tasks[0].Clauses, tt.clauses)
		})
	}
}
