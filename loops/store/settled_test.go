// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

func on(month time.Month, dom int) loops.Day { return loops.Day{Year: 2026, Month: month, Dom: dom} }

// about is a reminder on record, of one stage of one task.
func about(t *testing.T, s *store.Store, loop loops.LoopID, key loops.MessageKey, stage loops.Stage) loops.Message {
	t.Helper()
	m := loops.Message{Key: key, Owner: 1, Purpose: loops.PurposeReminder, From: "bench@shop.example", To: "anna@garden.example",
		Subject: "the tower", Raw: []byte("one"), Created: noon, NextAttempt: noon, Status: loops.Queued,
		About: []loops.Topic{{Loop: loop, Task: loops.Look, Due: on(12, 3), Stage: stage}}}
	require.NoError(t, s.Commit(loops.Change{At: noon, By: "test", Action: "remind", Messages: []loops.Message{m}}))
	return m
}

// A stage has had its letter once that is settled, however it ended; one that
// waits or was withdrawn has not.
func TestStagesCountOnceSettled(t *testing.T) {
	t.Parallel()
	testStagesCountOnceSettled(t, files)
}

func testStagesCountOnceSettled(t *testing.T, fresh place) {
	none := loops.StoreRevision{}
	for name, tc := range map[string]struct {
		settle func(*store.Store, loops.MessageKey) error
		marked bool
	}{
		"delivered": {func(s *store.Store, k loops.MessageKey) error { return s.MarkDelivered(noon, 0, k) }, true},
		"refused": {func(s *store.Store, k loops.MessageKey) error {
			return s.MarkRefused(k, 0, noon, loops.Failure{Reason: "no"})
		}, true},
		"expired": {func(s *store.Store, k loops.MessageKey) error { return s.MarkExpired(k, 0, noon, "too late") }, true},
		"held":    {func(s *store.Store, k loops.MessageKey) error { return s.Hold(k, "mo", noon) }, true},
		"dropped": {func(s *store.Store, k loops.MessageKey) error { return s.Drop(k, "mo", noon) }, true},
		"waits":   {func(*store.Store, loops.MessageKey) error { return nil }, false},
		"deferred": {func(s *store.Store, k loops.MessageKey) error {
			return s.MarkDeferred(k, 0, noon, 1, loops.Failure{Reason: "later"})
		}, false},
		"withdrawn": {func(s *store.Store, k loops.MessageKey) error { return s.MarkWithdrawn(k, none, noon, "stopped", nil) }, false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := fresh.open(t)
			c := workshop(t, s)
			require.NoError(t, s.Commit(c))
			m := about(t, s, c.Loops[0].ID, "1/2026-12-03/reminder", loops.StageDue)
			require.NoError(t, tc.settle(s, m.Key))
			marks, err := s.Sent(c.Loops[0].ID, loops.Look, on(12, 3))
			require.NoError(t, err)
			if !tc.marked {
				assert.Empty(t, marks)
				return
			}
			assert.Equal(t, m.Marks(), marks)
			sound(t, s)
		})
	}
}

// What was judged by an older state of the register is judged again; what is
// about to leave is on record whole; what may have left keeps its signature.
func TestAttemptIsOfTheRegisterItWasJudgedBy(t *testing.T) {
	t.Parallel()
	testAttemptIsOfTheRegisterItWasJudgedBy(t, files)
}

func testAttemptIsOfTheRegisterItWasJudgedBy(t *testing.T, fresh place) {
	s, _ := outbox(t, fresh, 0)
	m := about(t, s, 1, "1/2026-12-03/reminder", loops.StageDue)
	seen, err := s.Revision()
	require.NoError(t, err)
	other := about(t, s, 1, "1/2026-12-04/reminder", loops.StageLate)
	require.ErrorIs(t, attempt(s, m, seen, noon, noon.Add(time.Hour)), loops.ErrConflict)
	require.ErrorIs(t, s.MarkWithdrawn(m.Key, seen, noon, "why", nil), loops.ErrConflict)
	assert.Zero(t, message(t, s, m.Key).Attempts)

	seen, err = s.Revision()
	require.NoError(t, err)
	m.To, m.Raw, m.Note, m.Signature, m.Dated = "anna@new.example", []byte("two"), "to another address", []byte("DKIM-Signature: x\r\n"), noon.Add(time.Minute).UTC()
	require.NoError(t, attempt(s, m, seen, noon, noon.Add(time.Hour)))
	is := message(t, s, m.Key)
	assert.Equal(t, m.To, is.To)
	assert.Equal(t, m.Raw, is.Raw)
	assert.Equal(t, m.Note, is.Note)
	assert.Equal(t, m.Signature, is.Signature)
	assert.True(t, is.Unsure)
	assert.Equal(t, 1, is.Attempts)
	require.NoError(t, s.MarkDeferred(m.Key, is.Claim, noon, 1, loops.Failure{Reason: "no reply", Unsure: true}))
	assert.Equal(t, m.Signature, message(t, s, m.Key).Signature)
	require.NoError(t, s.MarkDeferred(m.Key, is.Claim, noon, 2, loops.Failure{Reason: "later", Status: "4.2.2"}))
	assert.Empty(t, message(t, s, m.Key).Signature)
	assert.Equal(t, "4.2.2", message(t, s, m.Key).Failure)

	instead := other
	instead.Key, instead.Instead = m.Key.Next(), m.Key
	assert.Equal(t, loops.MessageKey("1/2026-12-03/reminder+2"), instead.Key)
	assert.Equal(t, loops.MessageKey("1/2026-12-03/reminder+3"), instead.Key.Next())
	require.NoError(t, s.MarkWithdrawn(m.Key, loops.StoreRevision{}, noon, "answered", &instead))
	assert.Equal(t, loops.Withdrawn, message(t, s, m.Key).Status)
	assert.Equal(t, m.Key, message(t, s, instead.Key).Instead)
	var waiting []loops.MessageKey
	for w, err := range s.Waiting() {
		require.NoError(t, err)
		waiting = append(waiting, w.Key)
	}
	assert.ElementsMatch(t, []loops.MessageKey{other.Key, instead.Key}, waiting)
}

// A silence of more than a day is on record, by hours and not by sweeps.
func TestUptime(t *testing.T) {
	t.Parallel()
	testUptime(t, files)
}

func testUptime(t *testing.T, fresh place) {
	s, _ := outbox(t, fresh, 0)
	none, err := s.Uptime()
	require.NoError(t, err)
	assert.Zero(t, none)
	start := time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC)
	for hour := range 30 {
		require.NoError(t, s.NoteUptime(start.Add(time.Duration(hour)*20*time.Minute)))
	}
	is, err := s.Uptime()
	require.NoError(t, err)
	assert.True(t, is.OffTo.IsZero())
	back := start.AddDate(0, 0, 37).Add(9 * time.Hour)
	require.NoError(t, s.NoteUptime(back))
	is, err = s.Uptime()
	require.NoError(t, err)
	assert.Equal(t, back, is.Swept)
	assert.Equal(t, 37, is.OffDays(on(3, 20), on(4, 10), time.UTC))
	assert.Zero(t, is.OffDays(on(5, 20), on(6, 10), time.UTC), "long after it")
	sound(t, s)
}
