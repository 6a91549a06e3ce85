// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/schedule"
)

// "Last" counts when two letters were delivered before it, "late" when one was.
func TestALetterSpeaksByWhatArrived(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		stage   loops.Stage
		arrived int
		want    loops.Stage
	}{
		{loops.StageAhead, 0, loops.StageAhead},
		{loops.StageDue, 0, loops.StageDue},
		{loops.StageLate, 0, loops.StageDue},
		{loops.StageLate, 1, loops.StageLate},
		{loops.StageLast, 0, loops.StageDue},
		{loops.StageLast, 1, loops.StageLate},
		{loops.StageLast, 2, loops.StageLast},
		{loops.StageLast, 3, loops.StageLast},
	} {
		assert.Equal(t, tc.want, schedule.Letters{Arrived: tc.arrived}.Tone(tc.stage), "%s after %d", tc.stage, tc.arrived)
	}
}

func TestEvidenceOfLetters(t *testing.T) {
	t.Parallel()
	three := []loops.Stage{loops.StageAhead, loops.StageDue, loops.StageLate}
	for want, l := range map[string]schedule.Letters{
		"never mailed":                             {},
		"never mailed: off for 37 days":            {OffDays: 37},
		"3 written, 0 arrived: mailbox full":       {Stages: three, Failure: "mailbox full"},
		"3 written, 2 arrived, 1 on the way":       {Stages: three, Arrived: 2, Pending: 1},
		"3 written, 2 arrived: taken for unwanted": {Stages: three, Arrived: 2, Failure: "taken for unwanted"},
		"1 written, 1 arrived":                     {Stages: three[:1], Arrived: 1, OffDays: 2},
	} {
		assert.Equal(t, want, l.Evidence())
	}
}

// An owner with a letter on its way gets no second one until it has left.
func TestALetterOnItsWayHoldsTheNext(t *testing.T) {
	t.Parallel()
	today := day(t, "2026-06-15")
	in := newRecord().input(today.At(9, time.UTC), []schedule.Item{item(owner(1), 1, loops.Look, today), item(owner(2), 2, loops.Look, today)})
	in.Waiting = func(id loops.OwnerID) bool { return id == 1 }
	swept := schedule.Sweep(in)
	require.Len(t, swept.Reminders, 1)
	assert.Equal(t, loops.OwnerID(2), swept.Reminders[0].Owner.ID)
}
