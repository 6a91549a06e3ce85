// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"crypto/rand"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

var repliesTo = regexp.MustCompile(`(?m)^In-Reply-To: (\S+)\r$`)
var references = regexp.MustCompile(`(?m)^References: ((?:\S+(?:\r\n )?)+)\r$`)

// The letters about one appointment are one thread, and a later appointment
// begins another.
func TestLettersOfAnAppointmentAreOneThread(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	_, due, deliver := b.lookDue(t)
	var ids []string
	for _, over := range []int{-7, 7, 21} {
		require.Len(t, b.swept(t, due.AddDays(over), deliver), 1)
		message, _ := b.latest(t, loops.PurposeReminder)
		raw := string(message.Raw)
		if len(ids) == 0 {
			assert.NotContains(t, raw, "In-Reply-To:", "the first of it answers to none")
		} else {
			assert.Equal(t, ids[len(ids)-1], repliesTo.FindStringSubmatch(raw)[1])
			assert.Equal(t, ids, strings.Fields(references.FindStringSubmatch(raw)[1]))
		}
		ids = append(ids, idOf.FindStringSubmatch(raw)[1])
	}
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	answered := due.AddDays(24).At(10, time.UTC)
	_, err = b.Answer(workshop.Stamp{At: answered, By: "owner"}, owner, loops.Answer{Answer: loops.AllFine})
	require.NoError(t, err)
	deliver(answered)
	loop, err := b.store.Loop(1)
	require.NoError(t, err)
	next := workshop.NextTasks(loop.Plan)[0].Due
	require.Len(t, b.swept(t, next, deliver), 1)
	message, _ := b.latest(t, loops.PurposeReminder)
	assert.NotContains(t, string(message.Raw), "In-Reply-To:")
}

// What a letter that was held says why it does not leave, once it was released after
// another one: letters keep their distance at the moment of sending too, an owner gets
// so many a year, and of what is answered or said nothing is left to say.
func TestWhyAHeldLetterDoesNotLeave(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		aYear, after int // letters a year, and days after the due day on which it is released
		answered     bool
		says         string
	}{
		"distance": {8, 8, false, "keep a distance"},
		"year":     {1, 21, false, "gets 1 reminder in 365 days at most"},
		"said":     {8, 1, false, "nothing that it speaks of is due to be said any more"},
		"answered": {8, 2, true, "nothing that it speaks of is due to be said any more"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			_, due, deliver := b.lookDue(t)
			now := due.AddDays(-7).At(9, time.UTC)
			swept, err := b.Sweep(workshop.Stamp{At: now, By: "schedule"})
			require.NoError(t, err)
			require.Len(t, swept.Reminders, 1)
			held := swept.Reminders[0].Key
			require.NoError(t, b.store.Hold(held, "mo", now))
			deliver(now)
			require.Len(t, b.swept(t, due, deliver), 1)
			if tc.answered {
				owner, err := b.store.Owner(1)
				require.NoError(t, err)
				_, err = b.Answer(workshop.Stamp{At: due.AddDays(1).At(9, time.UTC), By: "owner"}, owner, loops.Answer{Answer: loops.AllFine})
				require.NoError(t, err)
			}
			later := due.AddDays(tc.after).At(9, time.UTC)
			require.NoError(t, b.store.Release(held, "mo", later))
			settings := b.Settings()
			settings.Policy.LettersAYear = tc.aYear
			b.Workshop = workshop.New(b.store, settings, rand.Reader, keys(t, 1))
			b.delivered(t, later)
			m, err := b.store.MessageHead(held)
			require.NoError(t, err)
			assert.Equal(t, loops.Withdrawn, m.Status)
			assert.Contains(t, m.Note, tc.says)
		})
	}
}
