// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/schedule"
)

// record is what a store keeps of a sweep whose letters all arrive.
type record struct {
	sent   map[loops.Topic]int
	mailed map[loops.MessageKey]int
	posted map[loops.OwnerID][]schedule.Posted
}

func newRecord() *record {
	return &record{map[loops.Topic]int{}, map[loops.MessageKey]int{}, map[loops.OwnerID][]schedule.Posted{}}
}

// commit keeps what the reminders would write.
func (r *record) commit(reminders []schedule.Reminder) {
	for _, reminder := range reminders {
		r.mailed[reminder.Key()]++
		r.posted[reminder.Owner.ID] = append(r.posted[reminder.Owner.ID], schedule.Posted{Day: reminder.Day, Reminder: true})
		for _, topic := range reminder.About() {
			r.sent[topic]++
		}
	}
}

func (r *record) input(now time.Time, items []schedule.Item) schedule.SweepInput {
	items = slices.Clone(items)
	for n, i := range items {
		for _, stage := range schedule.Stages() {
			if r.sent[schedule.Staged{Item: i, Stage: stage}.Topic()] > 0 {
				items[n].Letters.Stages = append(items[n].Letters.Stages, stage)
				items[n].Letters.Arrived++
			}
		}
	}
	return schedule.SweepInput{
		Now: now, Policy: schedule.DefaultPolicy(), Zone: time.UTC, Hour: 8, Items: items,
		Mailed: func(k loops.MessageKey) bool { return r.mailed[k] > 0 },
		Posted: func(id loops.OwnerID) []schedule.Posted { return r.posted[id] },
	}
}

func owner(id loops.OwnerID) loops.Owner {
	return loops.Owner{ID: id, Name: fmt.Sprintf("Owner %d", id), Email: fmt.Sprintf("owner%d@garden.example", id),
		Consent: loops.Consent{Mail: true}}
}

func item(o loops.Owner, loop loops.LoopID, kind loops.TaskKind, due loops.Day) schedule.Item {
	return schedule.Item{
		Owner: o, Machine: loops.Machine{ID: loops.MachineID(loop), Owner: o.ID, Name: "the grey tower"},
		Loop: loops.Loop{ID: loop, Machine: loops.MachineID(loop), Tag: "7K3QXA"},
		Task: loops.Task{Kind: kind, Due: due, Clauses: []loops.Clause{{
			Kind: loops.ByInterval, Day: due, Text: "Look over every 3 months; last looked over on Sat 31 Jan 2026.",
			Source: "common practice, no source", Grade: schedule.GradeCommon}}},
	}
}

func TestSweepCollapses(t *testing.T) {
	t.Parallel()
	today := day(t, "2026-06-15")
	paused := item(owner(1), 4, loops.Look, today)
	paused.Task.Paused = true
	items := []schedule.Item{
		item(owner(2), 9, loops.Look, today),
		item(owner(1), 3, loops.CoolantChange, today.AddDays(5)),
		item(owner(1), 2, loops.Look, today.AddDays(-8)),
		item(owner(1), 2, loops.CoolantChange, today.AddDays(8)),
		paused,
	}
	r := newRecord()
	swept := schedule.Sweep(r.input(today.At(8, time.UTC), items))
	assert.Empty(t, swept.Calls)
	require.Len(t, swept.Reminders, 2)
	first := swept.Reminders[0]
	assert.Equal(t, loops.OwnerID(1), first.Owner.ID)
	assert.Equal(t, today, first.Day)
	assert.Equal(t, loops.StageDue, first.Stage, "nobody is told of a late one who was told nothing before")
	assert.Equal(t, loops.MessageKey("1/2026-06-15/reminder"), first.Key())
	assert.Equal(t, []loops.Topic{
		{Loop: 2, Task: loops.Look, Due: today.AddDays(-8), Stage: loops.StageLate},
		{Loop: 3, Task: loops.CoolantChange, Due: today.AddDays(5), Stage: loops.StageAhead},
		{Loop: 2, Task: loops.CoolantChange, Due: today.AddDays(8), Stage: loops.StageAhead},
	}, first.About(), "what one visit settles is one letter")

	r.commit(swept.Reminders)
	assert.Empty(t, schedule.Sweep(r.input(today.At(8, time.UTC), items)).Reminders, "sweeping again")

	// What comes up after the mail waits until another one may go.
	items = append(items, item(owner(1), 5, loops.TopUpTask, today))
	assert.Empty(t, schedule.Sweep(r.input(today.AddDays(13).At(8, time.UTC), items)).Reminders)
	next := schedule.Sweep(r.input(today.AddDays(14).At(8, time.UTC), items)).Reminders
	require.Len(t, next, 2, "one to the other owner")
	require.Len(t, next[0].Items, 4)
	assert.Equal(t, loops.TopUpTask, next[0].Items[1].Task.Kind)
}

func TestSweepWaitsForTheOwnersHour(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, zone, now string
		want            string // the reminder's day; "" = none
	}{
		{"before eight", "Europe/Berlin", "2026-06-15T05:59:59Z", ""},
		{"at eight", "Europe/Berlin", "2026-06-15T06:00:00Z", "2026-06-15"},
		{"late in the evening", "Europe/Berlin", "2026-06-15T21:59:00Z", "2026-06-15"},
		{"already tomorrow there", "Pacific/Kiritimati", "2026-06-14T18:00:00Z", "2026-06-15"},
		{"still yesterday there, but ahead", "Pacific/Honolulu", "2026-06-15T06:00:00Z", "2026-06-14"},
		{"no zone of its own", "", "2026-06-15T08:00:00Z", "2026-06-15"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			now, err := time.Parse(time.RFC3339, tt.now)
			require.NoError(t, err)
			i := item(owner(1), 1, loops.Look, day(t, "2026-06-15"))
			if tt.zone != "" {
				i.Zone = zone(t, tt.zone)
			}
			var got strings.Builder
			for _, r := range schedule.Sweep(newRecord().input(now, []schedule.Item{i})).Reminders {
				got.WriteString(r.Day.String())
			}
			assert.Equal(t, tt.want, got.String())
		})
	}
}

func TestSweepCalls(t *testing.T) {
	t.Parallel()
	today := day(t, "2026-06-15")
	tests := []struct {
		name   string
		owner  func(*loops.Owner)
		past   int
		reason string // "" = a mail goes out
		letter bool
	}{
		{"mail", func(*loops.Owner) {}, 0, "", false},
		{"five weeks over", func(*loops.Owner) {}, 35, "no reminder went out", false},
		{"no mail address", func(o *loops.Owner) { o.Email, o.Address = "", "1 Mill Lane" }, 0, "no mail address on record", true},
		{"stopped", func(o *loops.Owner) { o.MailStopped = today }, 0, "stopped the mail on Mon 15 Jun 2026", false},
		{"no consent", func(o *loops.Owner) { o.Consent.Mail = false }, 0, "has not agreed to reminders by mail", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			o := owner(1)
			tt.owner(&o)
			swept := schedule.Sweep(newRecord().input(today.At(9, time.UTC), []schedule.Item{item(o, 1, loops.Look, today.AddDays(-tt.past))}))
			if tt.reason == "" {
				assert.Len(t, swept.Reminders, 1)
				assert.Empty(t, swept.Calls)
				return
			}
			assert.Empty(t, swept.Reminders)
			require.Len(t, swept.Calls, 1)
			assert.Equal(t, tt.reason, swept.Calls[0].Reason)
			assert.Equal(t, tt.letter, swept.Calls[0].Letter)
		})
	}
}

// A clock set back does not send the earlier stages once more.
func TestSweepDoesNotGoBackAStage(t *testing.T) {
	t.Parallel()
	due := day(t, "2026-06-15")
	items := []schedule.Item{item(owner(1), 1, loops.Look, due)}
	r := newRecord()
	late := schedule.Sweep(r.input(due.AddDays(10).At(9, time.UTC), items))
	require.Len(t, late.Reminders, 1)
	r.commit(late.Reminders)
	assert.Empty(t, schedule.Sweep(r.input(due.AddDays(2).At(9, time.UTC), items)).Reminders)
}

// anyItems draws due tasks of a few owners in a few zones.
func anyItems(t *rapid.T, around loops.Day) []schedule.Item {
	zones := []*time.Location{nil, zone(t, "Europe/Berlin"), zone(t, "Pacific/Kiritimati"), zone(t, "America/Santiago"), zone(t, "Pacific/Honolulu")}
	owners := make([]loops.Owner, 4)
	ownersZone := make([]*time.Location, len(owners))
	for i := range owners {
		owners[i] = owner(loops.OwnerID(i + 1))
		if rapid.IntRange(0, 4).Draw(t, "no mail") == 0 {
			owners[i].Email = ""
		}
		ownersZone[i] = rapid.SampledFrom(zones).Draw(t, "zone")
	}
	var items []schedule.Item
	for n := range rapid.IntRange(0, 12).Draw(t, "items") {
		o := rapid.IntRange(0, len(owners)-1).Draw(t, "owner")
		i := item(owners[o], loops.LoopID(n+1), rapid.SampledFrom(loops.TaskKinds()).Draw(t, "task"), around.AddDays(rapid.IntRange(-40, 40).Draw(t, "due")))
		i.Zone, i.Task.Paused = ownersZone[o], rapid.IntRange(0, 5).Draw(t, "paused") == 0
		items = append(items, i)
	}
	return items
}

// Sweeping at random instants over months, with the clock sometimes set back:
// never two mails for an owner within the spacing, never more than a year's, and
// the stages of every task come in order.
func TestSweepProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		start := loops.Day{Year: 2026, Month: time.March, Dom: 1}
		items := anyItems(t, start.AddDays(40))
		r := newRecord()
		reached := map[loops.LoopID]int{}
		order := map[loops.Stage]int{loops.StageAhead: 1, loops.StageDue: 2, loops.StageLate: 3, loops.StageLast: 4}
		now := start.At(0, time.UTC)
		for range rapid.IntRange(1, 60).Draw(t, "sweeps") {
			now = now.Add(time.Duration(rapid.IntRange(-12, 96).Draw(t, "hours")) * time.Hour)
			swept := schedule.Sweep(r.input(now, items))
			r.commit(swept.Reminders)
			assert.Empty(t, schedule.Sweep(r.input(now, items)).Reminders, "a second sweep at once")
			for _, reminder := range swept.Reminders {
				require.True(t, reminder.Owner.MayMail())
				held(t, r.posted[reminder.Owner.ID])
				for _, i := range reminder.Items {
					require.Equal(t, reminder.Owner.ID, i.Owner.ID)
					require.False(t, i.Task.Paused)
					require.GreaterOrEqual(t, order[i.Stage], reached[i.Loop.ID], "a stage back")
					reached[i.Loop.ID] = order[i.Stage]
				}
			}
			for _, c := range swept.Calls {
				require.NotEmpty(t, c.Reason)
			}
		}
		for key, n := range r.mailed {
			assert.Equal(t, 1, n, key)
		}
	})
}

func TestList(t *testing.T) {
	t.Parallel()
	today := day(t, "2026-06-15")
	noMail := owner(2)
	noMail.Email = ""
	paused := item(owner(1), 9, loops.Look, today)
	paused.Task.Paused = true
	items := []schedule.Item{
		item(owner(1), 1, loops.Look, today.AddDays(8)),
		item(owner(1), 2, loops.Look, today.AddDays(7)),
		item(owner(1), 3, loops.Look, today),
		item(owner(1), 4, loops.Look, today.AddDays(-1)),
		item(owner(1), 5, loops.Look, today.AddDays(-60)),
		item(noMail, 6, loops.Look, today.AddDays(1)),
		item(noMail, 7, loops.Look, today.AddDays(30)),
		paused,
	}
	for i := range items {
		items[i].Loop.Tag = loops.Tag(fmt.Sprint(items[i].Loop.ID))
	}
	list := schedule.NewListing(schedule.DefaultPolicy(), today, items).List()
	tagsOf := func(lines []schedule.Line) (tags []loops.Tag) {
		for _, l := range lines {
			tags = append(tags, l.Tag)
		}
		return tags
	}
	assert.Equal(t, []loops.Tag{"5", "4"}, tagsOf(list.Overdue))
	assert.Equal(t, 60, list.Overdue[0].OverdueDays)
	assert.Equal(t, []loops.Tag{"3"}, tagsOf(list.Today))
	assert.Equal(t, []loops.Tag{"6", "2"}, tagsOf(list.Week))
	assert.Equal(t, []loops.Tag{"1", "7"}, tagsOf(list.Later))
	assert.Equal(t, "Look over every 3 months", list.Today[0].Reason)
	require.Len(t, list.Call, 2)
	assert.Equal(t, loops.Tag("5"), list.Call[0].Tag)
	assert.Equal(t, loops.StageCall, list.Call[0].Stage)
	assert.Equal(t, loops.Tag("6"), list.Call[1].Tag)
	assert.Equal(t, "no mail address on record", list.Call[1].Why)
}

func BenchmarkSweep1000Due(b *testing.B) {
	today := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	berlin := zone(b, "Europe/Berlin")
	items := make([]schedule.Item, 1000)
	for n := range items {
		items[n] = item(owner(loops.OwnerID(n/3+1)), loops.LoopID(n+1), loops.Look, today.AddDays(n%30-20))
		items[n].Zone = berlin
	}
	in := newRecord().input(today.At(9, time.UTC), items)
	b.ReportAllocs()
	for b.Loop() {
		schedule.Sweep(in)
	}
}

// An owner who answered is not reminded again until the next due day; what the
// answer asked of a person is a call.
func TestAnswersEndTheReminders(t *testing.T) {
	t.Parallel()
	due := day(t, "2026-06-15")
	tests := []struct {
		name     string
		state    loops.State
		on       int // days from the due day
		reminded bool
		call     string
	}{
		{"no answer", loops.State{}, 8, true, ""},
		{"answered when reminded ahead", loops.State{Answered: []loops.Answered{{Task: loops.Look, Day: due.AddDays(-7), Answer: loops.AllFine}}}, 0, false, ""},
		{"answered late", loops.State{Answered: []loops.Answered{{Task: loops.Look, Day: due.AddDays(8), Answer: loops.AllFine}}}, 21, false, ""},
		{"answered and still not done", loops.State{Answered: []loops.Answered{{Task: loops.Look, Day: due, Answer: loops.AllFine}}}, 35, false, "answered on Mon 15 Jun 2026, and it is not done yet"},
		{"answered about the one before", loops.State{Answered: []loops.Answered{{Task: loops.Look, Day: due.AddDays(-8), Answer: loops.AllFine}}}, 0, true, ""},
		{"answered about another task", loops.State{Answered: []loops.Answered{{Task: loops.CoolantChange, Day: due, Answer: loops.AllFine}}}, 0, true, ""},
		{"ticked what shows", loops.State{Asked: due, AskedFor: loops.SomethingOff, AskedNoticed: []loops.Notice{loops.NoticeWet}}, 1, false,
			`answered "something is off: drops, wet spots or crusts" on Mon 15 Jun 2026`},
		{"asks for a person", loops.State{Asked: due, AskedFor: loops.CallMe}, 1, false, `answered "call me" on Mon 15 Jun 2026`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			i := item(owner(1), 3, loops.Look, due)
			i.Loop.State = tt.state
			today := due.AddDays(tt.on)
			swept := schedule.Sweep(newRecord().input(today.At(9, time.UTC), []schedule.Item{i}))
			assert.Equal(t, tt.reminded, len(swept.Reminders) == 1)
			list := schedule.NewListing(schedule.DefaultPolicy(), today, []schedule.Item{i}).List()
			if tt.call == "" {
				assert.Empty(t, swept.Calls)
				assert.Empty(t, list.Call)
				return
			}
			require.Len(t, swept.Calls, 1)
			assert.Equal(t, tt.call, swept.Calls[0].Reason)
			assert.Equal(t, tt.call, list.Call[0].Why)
		})
	}
}
