// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

func TestWhatACallLeaves(t *testing.T) {
	day := func(d int) loops.Day {
		return loops.DayOf(time.Date(2026, time.November, d, 0, 0, 0, 0, time.UTC), time.UTC)
	}
	called := func(d int, outcome loops.CallOutcome, agreed loops.Day) loops.Entry {
		return loops.Entry{Kind: loops.KindCall, Day: day(d), Call: &loops.OwnerCall{Outcome: outcome, Agreed: agreed}}
	}
	asked := loops.Entry{Kind: loops.KindAnswer, Day: day(1), Answer: &loops.Answer{Answer: loops.CallMe}}
	looked := loops.Entry{Kind: loops.KindInspection, Day: day(9), Inspection: &loops.Inspection{}}
	fold := func(history ...loops.Entry) loops.State {
		for i := range history {
			history[i].ID = loops.EntryID(i + 1)
		}
		return loops.Fold(history)
	}

	twice := fold(asked, called(2, loops.NotReached, loops.Day{}), called(3, loops.NotReached, loops.Day{}))
	assert.Equal(t, loops.State{Asked: day(1), AskedFor: loops.CallMe, TriedInVain: day(3), Tries: 2}, twice, "they still wait for a call")
	assert.Equal(t, loops.State{Reached: day(4), Agreed: day(8)},
		fold(asked, called(2, loops.NotReached, loops.Day{}), called(4, loops.Reached, day(8))), "and now do not")
	assert.Equal(t, loops.State{Reached: day(5), Agreed: day(8)},
		fold(called(4, loops.Reached, day(8)), called(5, loops.Reached, loops.Day{})), "another talk leaves the day agreed")
	assert.Equal(t, day(11), fold(called(4, loops.Reached, day(8)), called(5, loops.Reached, day(11))).Agreed, "or moves it")
	seen := fold(called(4, loops.Reached, day(8)), called(8, loops.NotReached, loops.Day{}), looked)
	assert.Zero(t, seen.Agreed, "somebody came")
	assert.Zero(t, seen.Reached)
	assert.Zero(t, seen.Tries)
	undone := loops.Entry{Kind: loops.KindCorrection, Day: day(5), Correction: &loops.Correction{Strikes: 1, Why: "another loop's"}}
	assert.Zero(t, fold(called(4, loops.Reached, day(8)), undone), "struck out")
}

// What a task is done with is what was agreed to be done: none of it leaves the
// day agreed standing as if nobody had come.
func TestWhatDoesATaskSeesToTheLoop(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-11-04")
	agreed := loops.Entry{ID: 2, Kind: loops.KindCall, Day: d, Call: &loops.OwnerCall{Outcome: loops.Reached, Agreed: d.AddDays(4)}}
	for _, task := range loops.Tasks() {
		if task.CompletedBy == loops.KindAnswer {
			continue // the owner's own
		}
		done := loops.Entry{ID: 3, Kind: task.CompletedBy, Day: d.AddDays(4), Fill: &loops.Fill{}, TopUp: &loops.TopUp{}, Inspection: &loops.Inspection{},
			Dose: &loops.Dose{Role: loops.RoleBiocide}, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}}
		filled := fill(d.AddDays(-9), 0.4)
		filled.ID = 1
		s := loops.Fold([]loops.Entry{filled, agreed, done})
		assert.Zero(t, s.Agreed, "%s by %s", task.Kind, task.CompletedBy)
		assert.Zero(t, s.Reached, "%s by %s", task.Kind, task.CompletedBy)
	}
}
