// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// An owner with more tasks than one letter takes, such as a school, is told of all
// of them in several letters, and of as many as one takes on paper.
func TestASchoolIsRemindedOfAllItsLoops(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	const school, many = loops.OwnerID(1), 70
	b := benchRegister(t, many, many, day)
	change := loops.Change{At: day.At(2, time.UTC), By: "test", Action: "all of them are the school's"}
	for m, err := range b.store.Machines() {
		require.NoError(t, err)
		m.Owner = school
		change.Machines = append(change.Machines, m)
	}
	for l, err := range b.store.Loops() {
		require.NoError(t, err)
		l.Plan.Tasks[0].Clauses = slices.Repeat(l.Plan.Tasks[0].Clauses, 8) // more text than rides in a mail
		change.Loops = append(change.Loops, l)
	}
	require.NoError(t, b.store.Commit(change))
	told := map[loops.LoopID]bool{}
	now := day.At(9, time.UTC)
	for range 2 {
		swept, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
		require.NoError(t, err)
		require.Len(t, swept.Reminders, 1)
		m, err := b.store.Message(swept.Reminders[0].Key)
		require.NoError(t, err)
		assert.Len(t, m.About, schedule.MostTasks)
		for _, topic := range m.About {
			told[topic.Loop] = true
		}
		b.delivered(t, now)
		now = now.AddDate(0, 0, schedule.DefaultPolicy().SpacingDays)
	}
	assert.Len(t, told, many)
	loop, err := b.store.Loop(change.Loops[0].ID)
	require.NoError(t, err)
	_, err = b.Printed(workshop.Stamp{At: now, By: "test"}, loop.Tag)
	assert.NoError(t, err)
}
