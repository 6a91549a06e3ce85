// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// swept sweeps and delivers at nine on the day.
func (b bench) swept(t *testing.T, day loops.Day, deliver func(time.Time)) []workshop.Queued {
	t.Helper()
	now := day.At(9, time.UTC)
	swept, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
	require.NoError(t, err)
	deliver(now)
	return swept.Reminders
}

// lookDue is the day of the second look of a loop handed over, the first being
// settled, and a delivery that works.
func (b bench) lookDue(t *testing.T) (loops.Loop, loops.Day, func(time.Time)) {
	t.Helper()
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	b.delivered(t, at("2026-05-01 16").At)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	_, err = b.Answer(at("2026-05-15 10"), owner, loops.Answer{Answer: loops.AllFine})
	require.NoError(t, err)
	b.delivered(t, at("2026-05-15 11").At)
	loop, err = b.store.Loop(loop.ID)
	require.NoError(t, err)
	look := workshop.NextTasks(loop.Plan)[0]
	require.Equal(t, loops.Look, look.Kind)
	return loop, look.Due, func(now time.Time) { b.delivered(t, now) }
}

// After a time off nobody's first mail is a last reminder, and nobody is said
// not to have been heard of who was never asked.
func TestFirstMailAfterATimeOffIsNoLastReminder(t *testing.T) {
	t.Parallel()
	for _, over := range []int{0, 3, 8, 22, 34} {
		b := newBench(t)
		_, due, deliver := b.lookDue(t)
		sent := b.swept(t, due.AddDays(over), deliver)
		require.Len(t, sent, 1)
		assert.Equal(t, loops.StageDue, sent[0].Stage, "%d days over", over)
		_, mail := b.latest(t, loops.PurposeReminder)
		assert.NotContains(t, mail.Subject, "Last reminder")
		assert.NotContains(t, squeeze(mail.Text), "have not heard")
		assert.NotContains(t, mail.Text, "LATE")
	}
}

// The call list tells what was mailed and what became of it.
func TestCallsShowTheEvidence(t *testing.T) {
	t.Parallel()
	t.Run("off", func(t *testing.T) {
		t.Parallel()
		b := newBench(t)
		_, due, deliver := b.lookDue(t)
		b.swept(t, due.AddDays(-8), deliver)
		back := due.AddDays(36)
		assert.Empty(t, b.swept(t, back, deliver))
		list, err := b.Due(back.At(10, time.UTC))
		require.NoError(t, err)
		require.NotEmpty(t, list.Call)
		assert.Equal(t, "no reminder went out", list.Call[0].Why)
		assert.Equal(t, "never mailed: off for 44 days", list.Call[0].Evidence)
		assert.Contains(t, schedule.Conversations(list.Call)[0].Sentence(), "(never mailed: off for 44 days)")
		_, err = b.Printed(workshop.Stamp{At: back.At(10, time.UTC), By: "mo"}, list.Call[0].Tag)
		require.NoError(t, err, "a letter can be printed")
	})
	t.Run("mailbox full", func(t *testing.T) {
		t.Parallel()
		b, r := newBench(t), startRelay(t)
		_, due, _ := b.lookDue(t)
		d := b.delivererTo(t, r)
		r.set("refuse")
		deliver := func(now time.Time) { _, err := d.Deliver(t.Context(), now); require.NoError(t, err) }
		for day := -7; day < 40; day++ {
			b.swept(t, due.AddDays(day), deliver)
		}
		list, err := b.Due(due.AddDays(40).At(10, time.UTC))
		require.NoError(t, err)
		require.NotEmpty(t, list.Call)
		assert.Equal(t, "mail does not arrive: mailbox full; ask them to make room in it", list.Call[0].Why)
		assert.Equal(t, "3 written, 0 arrived: mailbox full", list.Call[0].Evidence)
	})
	t.Run("all arrived", func(t *testing.T) {
		t.Parallel()
		b := newBench(t)
		_, due, deliver := b.lookDue(t)
		var stages []loops.Stage
		for day := -7; day < 36; day++ {
			for _, sent := range b.swept(t, due.AddDays(day), deliver) {
				stages = append(stages, sent.Stage)
			}
		}
		assert.Equal(t, []loops.Stage{loops.StageAhead, loops.StageLate, loops.StageLast}, stages)
		list, err := b.Due(due.AddDays(36).At(10, time.UTC))
		require.NoError(t, err)
		require.NotEmpty(t, list.Call)
		assert.Equal(t, "mail has not settled it", list.Call[0].Why)
		assert.Equal(t, "3 written, 3 arrived", list.Call[0].Evidence)
	})
}

// A letter that comes back within three days was not told: the last reminder
// waits for two that were.
func TestLastAfterTwoThatArrived(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		back []int // days over on which a letter came back
		want loops.Stage
	}{{nil, loops.StageLast}, {[]int{-7}, loops.StageLate}, {[]int{7}, loops.StageLate}, {[]int{-7, 7}, loops.StageDue}} {
		b := newBench(t)
		_, due, deliver := b.lookDue(t)
		for _, over := range []int{-7, 7} {
			sent := b.swept(t, due.AddDays(over), deliver)
			require.Len(t, sent, 1)
			for _, back := range tc.back {
				if back == over {
					require.NoError(t, b.store.MarkBounced(sent[0].Key, due.AddDays(over+1).At(9, time.UTC), loops.Failure{Reason: "full", Status: "4.2.2"}))
				}
			}
		}
		sent := b.swept(t, due.AddDays(21), deliver)
		require.Len(t, sent, 1)
		assert.Equal(t, tc.want, sent[0].Stage, "%v came back", tc.back)
	}
}

// Whom a machine is passed on to is welcomed with what is in it and its cautions,
// and hears of what is due from the beginning.
func TestABuyerIsWelcomedAndNotScolded(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop, due, deliver := b.lookDue(t)
	for over := -7; over < 8; over++ {
		b.swept(t, due.AddDays(over), deliver)
	}
	buyer, err := b.AddOwner(workshop.Stamp{At: due.AddDays(8).At(8, time.UTC), By: "mo"}, loops.Owner{Name: "Bo Harbour", Email: "bo@quay.example", Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	sold, err := b.Do(workshop.Stamp{At: due.AddDays(8).At(10, time.UTC), By: "mo"}, loop.Tag, loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{To: buyer.ID}})
	require.NoError(t, err)
	assert.NotEmpty(t, sold.Mailed)
	message, mail := b.latest(t, loops.PurposeWelcome)
	assert.Equal(t, "bo@quay.example", message.To)
	text := squeeze(mail.Text)
	for _, part := range []string{"is yours now", "40 % propylene glycol", "Take care", "What comes next"} {
		assert.Contains(t, text, part)
	}
	deliver(due.AddDays(8).At(11, time.UTC))
	var first []workshop.Queued
	for over := 9; over < 30 && len(first) == 0; over++ {
		first = b.swept(t, due.AddDays(over), deliver)
	}
	require.NotEmpty(t, first)
	assert.Equal(t, loops.StageDue, first[0].Stage)
	_, mail = b.latest(t, loops.PurposeReminder)
	assert.NotContains(t, squeeze(mail.Text), "have not heard")
	var welcomes int
	for _, m := range b.messages(t) {
		assert.NotEqual(t, loops.Withdrawn, m.Status, "%s: %s", m.Key, m.Note)
		if m.Purpose == loops.PurposeWelcome {
			welcomes++
			preview, err := notify.ReadPreview(m.Raw)
			require.NoError(t, err)
			assert.Contains(t, preview.Subject, "is yours now")
		}
	}
	assert.Equal(t, 1, welcomes)
}
