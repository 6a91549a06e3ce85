// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// Two workshops may write from one domain, to owners of the same number on the
// same day: their letters are not one letter.
func TestLettersOfTwoRegistersAreTold(t *testing.T) {
	t.Parallel()
	ids := map[loops.MessageKey]string{}
	var days []string
	for range 2 {
		b := newBench(t)
		loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
		for _, m := range b.messages(t) {
			require.NoError(t, b.store.MarkDelivered(m.Created, 0, m.Key))
		}
		start := workshop.NextTasks(loop.Plan)[0].Due.At(9, time.UTC)
		swept, err := b.Sweep(workshop.Stamp{At: start, By: "schedule"})
		require.NoError(t, err)
		require.Len(t, swept.Reminders, 1)
		m, err := b.store.Message(swept.Reminders[0].Key)
		require.NoError(t, err)
		assert.Contains(t, string(m.Raw), "Message-ID: "+m.MessageID+"\r\n")
		assert.NotEqual(t, ids[m.Key], m.MessageID)
		ids[m.Key] = m.MessageID
		feed, err := b.OwnerCalendar(m.Owner)
		require.NoError(t, err)
		id := regexp.MustCompile(`UID:loop-1-\S+`).FindString(string(feed))
		require.NotEmpty(t, id)
		assert.NotContains(t, days, id, "nor are the days in their owners' calendars")
		assert.Contains(t, string(m.Raw), id, "a day in a letter is the day in the feed")
		assert.NotContains(t, id, b.store.ID(), "the register's own id leaves the house in no entry")
		days = append(days, id)
	}
	assert.Len(t, ids, 1, "both have the same key")
}

// A letter that an earlier version queued keeps the Message-ID that it has, when
// it leaves as it is and when it is written again.
func TestQueuedLetterKeepsItsMessageID(t *testing.T) {
	t.Parallel()
	path, _, start := oneWaiting(t)
	b := copyOf(t, path)
	list, err := b.store.NextQueued(start, 10)
	require.NoError(t, err)
	require.Len(t, list, 1)
	m := list[0]
	old := notify.MessageIDFor("", m.Key, "test.example")
	// Boundaries are made of it too, so the letter is written once more.
	m.MessageID = ""
	m.Raw = bytes.ReplaceAll(m.Raw, []byte("grey tower"), []byte("gray tower"))
	r, err := b.Review(m, start)
	require.NoError(t, err)
	m = r.Message
	assert.Contains(t, string(m.Raw), "Message-ID: "+old+"\r\n")

	r, err = b.Review(m, start)
	require.NoError(t, err)
	assert.Equal(t, m, r.Message, "it is as the register has it")
	r, err = b.Review(m, start.AddDate(0, 0, 1))
	require.NoError(t, err)
	assert.NotEqual(t, m.Raw, r.Message.Raw, "it is of its day")
	assert.Contains(t, string(r.Message.Raw), "Message-ID: "+old+"\r\n")
}
