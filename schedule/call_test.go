// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
	"fillmark/schedule"
)

// What a call leads to: a day agreed moves the work there and keeps letters and
// calls back, until the day is over with nothing on record.
func TestCallsMoveTheWork(t *testing.T) {
	due := day(t, "2026-09-29")
	today := day(t, "2026-11-28") // the stage is that for calling
	byMail := owner(1)
	silent := owner(2)
	silent.Email = ""

	for name, c := range map[string]struct {
		owner   loops.Owner
		state   loops.State
		call    string // why; empty for no call
		overdue bool
		letter  bool
	}{
		"nobody called":                    {silent, loops.State{}, "no mail address on record", true, false},
		"tried in vain":                    {silent, loops.State{TriedInVain: today.AddDays(-1), Tries: 2}, "no mail address on record; not reached on Fri 27 Nov 2026, tried 2 times", true, false},
		"reached yesterday":                {silent, loops.State{Reached: today.AddDays(-1)}, "", true, false},
		"reached six days ago":             {silent, loops.State{Reached: today.AddDays(-6)}, "", true, false},
		"reached a week ago":               {silent, loops.State{Reached: today.AddDays(-7)}, "no mail address on record", true, false},
		"agreed for today":                 {silent, loops.State{Reached: today.AddDays(-9), Agreed: today}, "", false, false},
		"agreed for tomorrow":              {silent, loops.State{Reached: today.AddDays(-9), Agreed: today.AddDays(1)}, "", false, false},
		"agreed for yesterday":             {silent, loops.State{Reached: today.AddDays(-9), Agreed: today.AddDays(-1)}, "agreed for Fri 27 Nov 2026, and nothing was recorded since", true, false},
		"asked for a call, tried in vain":  {byMail, loops.State{Asked: today.AddDays(-2), AskedFor: loops.CallMe, TriedInVain: today, Tries: 1}, `answered "call me" on Thu 26 Nov 2026; not reached on Sat 28 Nov 2026, tried once`, true, false},
		"proposed a day":                   {byMail, loops.State{Asked: today, AskedFor: loops.ProposeDay, Agreed: today.AddDays(5)}, `answered "I can bring it on Thu 3 Dec 2026" on Sat 28 Nov 2026`, false, false},
		"a day proposed and confirmed":     {byMail, loops.State{Reached: today, Agreed: today.AddDays(5)}, "", false, false},
		"sold":                             {byMail, loops.State{Asked: today, AskedFor: loops.PassedOn}, `answered "it is sold" on Sat 28 Nov 2026`, true, false},
		"sold, and worked on since":        {byMail, loops.State{PassedOn: today, Agreed: today.AddDays(2), QuietUntil: today.AddDays(9)}, `answered "it is sold" on Sat 28 Nov 2026`, false, false},
		"wants two weeks":                  {byMail, loops.State{QuietUntil: today.AddDays(1)}, "", true, false},
		"the two weeks are over":           {byMail, loops.State{QuietUntil: today}, "no reminder went out", true, false},
		"mail has said all there is":       {byMail, loops.State{}, "no reminder went out", true, false},
		"reached after mail had said it":   {byMail, loops.State{Reached: today}, "", true, false},
		"agreed after mail had settled it": {byMail, loops.State{Reached: today, Agreed: today.AddDays(3)}, "", false, false},
	} {
		t.Run(name, func(t *testing.T) {
			i := item(c.owner, 1, loops.Look, due)
			i.Loop.State = c.state
			list := schedule.NewListing(schedule.DefaultPolicy(), today, []schedule.Item{i}).List()
			swept := schedule.Sweep(newRecord().input(today.At(12, time.UTC), []schedule.Item{i}))
			var why []string
			for _, call := range list.Call {
				why = append(why, call.Why)
			}
			if c.call == "" {
				assert.Empty(t, why)
				assert.Empty(t, swept.Calls)
			} else {
				assert.Equal(t, []string{c.call}, why)
				assert.Len(t, swept.Calls, 1)
			}
			assert.Equal(t, c.overdue, len(list.Overdue) == 1)
			assert.Equal(t, c.letter, len(swept.Reminders) == 1)
		})
	}
}

// The days around what was agreed, for an owner whom mail reaches.
func TestAnAgreedDayKeepsLettersBack(t *testing.T) {
	due := day(t, "2026-11-28")
	i := item(owner(1), 1, loops.Look, due)
	reminded := func(today loops.Day) bool {
		return len(schedule.Sweep(newRecord().input(today.At(12, time.UTC), []schedule.Item{i})).Reminders) == 1
	}
	assert.True(t, reminded(due), "nobody was called")
	i.Loop.State = loops.State{Reached: due.AddDays(-1), Agreed: due}
	assert.False(t, reminded(due), "somebody comes today")
	i.Loop.State.Agreed = due.AddDays(5)
	assert.False(t, reminded(due))
	i.Loop.State = loops.State{Reached: due.AddDays(-6)}
	assert.False(t, reminded(due), "spoken to six days ago")
	i.Loop.State.Reached = due.AddDays(-7)
	assert.True(t, reminded(due), "spoken to a week ago")
	i.Loop.State = loops.State{QuietUntil: due.AddDays(14)}
	assert.False(t, reminded(due.AddDays(13)), "asked for two weeks")
	assert.True(t, reminded(due.AddDays(14)), "the two weeks are over")
}
