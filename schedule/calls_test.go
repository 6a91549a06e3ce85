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

func callLine(owner loops.OwnerID, name, why string, tag loops.Tag, task loops.TaskKind, over int) schedule.CallLine {
	day := loops.Day{Year: 2026, Month: 11, Dom: 24}
	return schedule.CallLine{Why: why, Line: schedule.Line{
		OwnerID: owner, Owner: name, Tag: tag, Machine: "the tower", Task: task, Due: day.AddDays(-over), OverdueDays: over,
	}}
}

func TestCallsAreOnePerOwnerAndReason(t *testing.T) {
	t.Parallel()
	letter := callLine(2, "Ana", "no mail address on record", "4XW8PD", loops.Look, 3)
	letter.Letter = true
	calls := schedule.Conversations([]schedule.CallLine{
		callLine(1, "Ana", "stopped the mail", "7K3M9Q", loops.Look, 3),
		letter,
		callLine(1, "Ana", "stopped the mail", "7K3M9Q", loops.CoolantChange, -2),
		callLine(1, "Ana", "stopped the mail", "GPM00H", loops.LeakCheckTask, 0),
		callLine(1, "Ana", "answered", "7K3M9Q", loops.ServiceCheck, 1),
	})
	require.Len(t, calls, 3, "another owner of the same name is another call")
	assert.Equal(t, "Ana (no telephone on record): stopped the mail. 7K3M9Q the tower: look since Sat 21 Nov 2026; "+
		"coolant change by Thu 26 Nov 2026. GPM00H the tower: leak check since Tue 24 Nov 2026.", calls[0].Sentence())
	assert.Empty(t, calls[0].Letter)
	assert.Equal(t, loops.Tag("4XW8PD"), calls[1].Letter)
}

// The morning list takes no line without end: it must go out whatever is due.
func TestCallAboutManyTasksStaysALine(t *testing.T) {
	t.Parallel()
	var lines []schedule.CallLine
	for range 60 {
		lines = append(lines, callLine(1, strings.Repeat("x", 100), "stopped the mail", "7K3M9Q", loops.BiocideRenewal, 3))
	}
	calls := schedule.Conversations(lines)
	require.Len(t, calls, 1)
	assert.Contains(t, calls[0].Sentence(), "; and 52 more.")
	assert.Less(t, len(calls[0].Sentence()), 1000)
}
