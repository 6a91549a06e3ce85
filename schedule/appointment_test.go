// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"cmp"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/schedule"
)

// letterDays sweeps every day of a span for owners who never answer and whose
// mail all arrives, and returns the days on which each had a letter.
func letterDays(items []schedule.Item, from, to loops.Day) map[loops.OwnerID][]loops.Day {
	r, had := newRecord(), map[loops.OwnerID][]loops.Day{}
	for d := from; d.Before(to); d = d.AddDays(1) {
		reminders := schedule.Sweep(r.input(d.At(9, time.UTC), items)).Reminders
		r.commit(reminders)
		for _, reminder := range reminders {
			had[reminder.Owner.ID] = append(had[reminder.Owner.ID], d)
		}
	}
	return had
}

// held holds the letters to one owner to the shipped policy; those that are urgent
// count, and wait for no other.
func held(t require.TestingT, posted []schedule.Posted, urgent ...int) {
	for n, l := range posted {
		if slices.Contains(urgent, n) {
			continue
		}
		year := 0
		for m, earlier := range posted[:n] {
			if l.Day.Sub(earlier.Day) < 365 {
				year++
			}
			require.GreaterOrEqual(t, l.Day.Sub(earlier.Day), 14, "letters %d and %d", m, n)
		}
		require.Less(t, year, 8, "letters in the year before %s", l.Day)
	}
}

// Filled on the 10th and read on the 11th: what a year brings is one visit, and
// is written about three times, a fortnight apart.
func TestOneVisitIsThreeLetters(t *testing.T) {
	t.Parallel()
	filled := day(t, "2026-06-10")
	items := []schedule.Item{
		item(owner(1), 1, loops.CoolantChange, filled),
		item(owner(1), 1, loops.ServiceCheck, filled.AddDays(1)),
	}
	days := letterDays(items, filled.AddDays(-60), filled.AddDays(100))[1]
	assert.Equal(t, []loops.Day{filled.AddDays(-7), filled.AddDays(7), filled.AddDays(21)}, days)
	for n, d := range days[1:] {
		require.Greater(t, d.Sub(days[n]), 1, "on consecutive days")
	}
}

// A silent owner has eight letters a year, whatever falls due.
func TestASilentOwnerHasEightLettersAYear(t *testing.T) {
	t.Parallel()
	start := day(t, "2026-01-01")
	var items []schedule.Item
	for n := range 24 {
		items = append(items, item(owner(1), loops.LoopID(n+1), loops.ServiceCheck, start.AddDays(31*n)))
	}
	r := newRecord()
	for d := range 730 {
		r.commit(schedule.Sweep(r.input(start.AddDays(d).At(9, time.UTC), items)).Reminders)
	}
	held(t, r.posted[1])
	assert.Len(t, r.posted[1], 16, "and no fewer than they may have")
}

// What needs no visit is asked for when its own reminders begin; work in the
// workshop joins the visit a month ahead.
func TestAppointments(t *testing.T) {
	t.Parallel()
	due := day(t, "2026-06-10")
	about := func(today loops.Day, items ...schedule.Item) []loops.Topic {
		reminders := schedule.Sweep(newRecord().input(today.At(9, time.UTC), items)).Reminders
		if len(reminders) == 0 {
			return nil
		}
		require.Len(t, reminders, 1)
		return reminders[0].About()
	}
	change := item(owner(1), 1, loops.CoolantChange, due)
	topic := func(i schedule.Item, stage loops.Stage) loops.Topic {
		return schedule.Staged{Item: i, Stage: stage}.Topic()
	}
	for _, tc := range []struct {
		name  string
		other schedule.Item
		with  bool
	}{
		{"work thirty days later", item(owner(1), 1, loops.ServiceCheck, due.AddDays(30)), true},
		{"work of another machine", item(owner(1), 2, loops.LeakCheckTask, due.AddDays(9)), true},
		{"work a day later than that", item(owner(1), 1, loops.ServiceCheck, due.AddDays(31)), false},
		{"a look of the same week", item(owner(1), 1, loops.Look, due), true},
		{"a look a fortnight later", item(owner(1), 1, loops.Look, due.AddDays(14)), false},
	} {
		want := []loops.Topic{topic(change, loops.StageAhead)}
		if tc.with {
			want = append(want, topic(tc.other, loops.StageAhead))
		}
		assert.ElementsMatch(t, want, about(due.AddDays(-7), change, tc.other), tc.name)
	}
	assert.Empty(t, about(due.AddDays(-8), change, item(owner(1), 1, loops.ServiceCheck, due.AddDays(3))), "before the first reminder")

	// While a person is to call about the first of a visit, mail waits.
	over := item(owner(1), 1, loops.CoolantChange, due.AddDays(-40))
	assert.Empty(t, about(due, over, item(owner(1), 1, loops.ServiceCheck, due.AddDays(-12))))
	assert.Len(t, about(due, over, item(owner(1), 2, loops.ServiceCheck, due.AddDays(-9))), 1, "another visit has a letter of its own")
}

// The first letter about a leak waits for no other letter, the next ones do.
func TestALeakDoesNotWait(t *testing.T) {
	t.Parallel()
	due := day(t, "2026-06-10")
	leaks := item(owner(1), 1, loops.LeakCheckTask, due)
	leaks.Loop.State.Leaking = due
	leaks.Loop.State.HandedOver = due.AddDays(-90)
	require.NotEmpty(t, leaks.Loop.State.Conditions())
	r := newRecord()
	for n := range 8 {
		r.posted[1] = append(r.posted[1], schedule.Posted{Day: due.AddDays(-1 - 14*n), Reminder: true})
	}
	assert.Empty(t, schedule.Sweep(r.input(due.At(9, time.UTC), []schedule.Item{item(owner(1), 1, loops.LeakCheckTask, due)})).Reminders)
	first := schedule.Sweep(r.input(due.At(9, time.UTC), []schedule.Item{leaks})).Reminders
	require.Len(t, first, 1)
	r.commit(first)
	assert.Empty(t, schedule.Sweep(r.input(due.AddDays(9).At(9, time.UTC), []schedule.Item{leaks})).Reminders)
}

// The letter of a machine's going keeps reminders at a distance, and counts for
// no year.
func TestMayRemind(t *testing.T) {
	t.Parallel()
	p, today := schedule.DefaultPolicy(), day(t, "2026-06-10")
	var year []schedule.Posted
	for n := range 7 {
		year = append(year, schedule.Posted{Day: today.AddDays(-14 - 20*n), Reminder: true})
	}
	assert.True(t, schedule.MayRemind(p, nil, today))
	assert.True(t, schedule.MayRemind(p, []schedule.Posted{{Day: today.AddDays(-14)}}, today))
	assert.False(t, schedule.MayRemind(p, []schedule.Posted{{Day: today.AddDays(-13)}}, today))
	assert.True(t, schedule.MayRemind(p, append(year, schedule.Posted{Day: today.AddDays(-300)}), today))
	assert.False(t, schedule.MayRemind(p, append(year, schedule.Posted{Day: today.AddDays(-364), Reminder: true}), today))
	assert.True(t, schedule.MayRemind(p, append(year, schedule.Posted{Day: today.AddDays(-365), Reminder: true}), today))
	p.SpacingDays, p.LettersAYear = 0, 0
	assert.True(t, schedule.MayRemind(p, append(year, year...), today))
}

// In random histories of tasks that come, are done and come again, with some
// letters that do not arrive, leaks and days on which nothing looked: letters to an
// owner keep their distance and their number, but for the first about a leak, which
// waits for no other and is not sent twice; and no task is lost: before its
// owner is to be called each was written about, or it is on the list of calls.
func TestLettersInRandomHistories(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		start := loops.Day{Year: 2026, Month: time.March, Dom: 1}
		items := anyItems(t, start.AddDays(40))
		for n := range items {
			if rapid.IntRange(0, 2).Draw(t, "leaks") == 0 {
				items[n].Task.Kind = loops.LeakCheckTask
				items[n].Loop.State.Leaking, items[n].Loop.State.HandedOver = start, start.AddDays(-30)
			}
		}
		r, urgent := newRecord(), map[loops.OwnerID][]int{}
		p := schedule.DefaultPolicy()
		for d := range rapid.IntRange(60, 120).Draw(t, "days") {
			now := start.AddDays(d).At(23, time.UTC)
			if rapid.IntRange(0, 19).Draw(t, "off") == 0 {
				continue
			}
			if len(items) > 0 && rapid.IntRange(0, 9).Draw(t, "done") == 0 {
				n := rapid.IntRange(0, len(items)-1).Draw(t, "which")
				items[n].Task.Due = start.AddDays(d + rapid.IntRange(1, 90).Draw(t, "again in"))
			}
			in := r.input(now, items)
			for n := range in.Items { // some letters came back
				in.Items[n].Letters.Arrived = min(in.Items[n].Letters.Arrived, rapid.IntRange(0, 9).Draw(t, "arrived"))
			}
			swept := schedule.Sweep(in)
			r.commit(swept.Reminders)
			for _, reminder := range swept.Reminders {
				id := reminder.Owner.ID
				first := func(i schedule.Staged) bool { return len(i.Loop.State.Conditions()) > 0 && len(i.Letters.Stages) == 0 }
				if slices.ContainsFunc(reminder.Items, first) {
					urgent[id] = append(urgent[id], len(r.posted[id])-1)
				}
				held(t, r.posted[id], urgent[id]...)
				for _, i := range reminder.Items {
					require.False(t, i.Tone() == loops.StageLast && i.Letters.Arrived < 2, "a last reminder after two that arrived")
				}
			}
			calls := map[loops.Topic]bool{}
			for _, c := range swept.Calls {
				calls[schedule.Staged{Item: c.Item}.Topic()] = true
			}
			for _, i := range items {
				zone := i.Zone
				if zone == nil {
					zone = time.UTC
				}
				topic := schedule.Staged{Item: i}.Topic()
				if over := loops.DayOf(now, zone).Sub(i.Task.Due); over >= p.CallDays && !i.Task.Paused {
					require.True(t, calls[topic], "loop %d is %d days over", i.Loop.ID, over)
				} else if over >= 0 && !i.Task.Paused && !i.Owner.MayMail() {
					require.True(t, calls[topic])
				}
			}
		}
	})
}

// A letter takes so many tasks; the others go with the next ones, what nobody was
// told before what was said already.
func TestWhatOneLetterDoesNotTakeGoesNext(t *testing.T) {
	t.Parallel()
	due := day(t, "2026-06-10")
	var items []schedule.Item
	for n := range 2*schedule.MostTasks + 10 {
		items = append(items, item(owner(1), loops.LoopID(n+1), loops.Look, due))
	}
	r, told := newRecord(), map[loops.LoopID]bool{}
	for _, want := range []int{schedule.MostTasks, 2 * schedule.MostTasks, len(items)} {
		reminders := schedule.Sweep(r.input(due.At(9, time.UTC), items)).Reminders
		require.Len(t, reminders, 1)
		require.Len(t, reminders[0].Items, schedule.MostTasks)
		assert.True(t, slices.IsSortedFunc(reminders[0].Items, func(a, b schedule.Staged) int { return cmp.Compare(a.Loop.ID, b.Loop.ID) }))
		for _, topic := range reminders[0].About() {
			told[topic.Loop] = true
		}
		assert.Len(t, told, want)
		r.commit(reminders)
		due = due.AddDays(schedule.DefaultPolicy().SpacingDays)
	}
}
