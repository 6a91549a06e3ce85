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

// outbox is a store with one owner and messages due at noon, noon+1h, …
func outbox(t *testing.T, fresh place, n int) (*store.Store, []loops.MessageKey) {
	t.Helper()
	s := fresh.open(t)
	c := change("mail")
	c.Owners = []loops.Owner{{ID: 1, Name: "Ana Fern"}}
	var keys []loops.MessageKey
	for i := range n {
		m := aMessage(1, loops.Day{Year: 2026, Month: time.December, Dom: 3}.AddDays(i), noon.Add(time.Duration(i)*time.Hour))
		m.Created = noon.Add(time.Duration(i) * time.Minute)
		c.Messages, keys = append(c.Messages, m), append(keys, m.Key)
	}
	require.NoError(t, s.Commit(c))
	return s, keys
}

// message reads one with its text.
func message(t *testing.T, s *store.Store, key loops.MessageKey) loops.Message {
	t.Helper()
	m, err := s.Message(key)
	require.NoError(t, err)
	return m
}

func queued(t *testing.T, s *store.Store, now time.Time, limit int) []loops.MessageKey {
	t.Helper()
	list, err := s.NextQueued(now, limit)
	require.NoError(t, err)
	keys := []loops.MessageKey{}
	for _, m := range list {
		assert.NotEmpty(t, m.Raw)
		keys = append(keys, m.Key)
	}
	return keys
}

// attempt begins one of a message alone.
func attempt(s *store.Store, m loops.Message, seen loops.StoreRevision, at, next time.Time) error {
	_, err := s.MarkAttempts([]loops.Attempt{{Message: m, Next: next}}, seen, at)
	return err
}

func TestNextQueued(t *testing.T) {
	t.Parallel()
	testNextQueued(t, files)
}

func testNextQueued(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 3)
	assert.Empty(t, queued(t, s, noon.Add(-time.Second), 10))
	assert.Empty(t, queued(t, s, noon.Truncate(time.Second), 10), "half a microsecond early")
	assert.Equal(t, keys[:1], queued(t, s, noon, 10))
	assert.Equal(t, keys[:2], queued(t, s, noon.Add(time.Hour), 10))
	assert.Equal(t, keys[:1], queued(t, s, noon.Add(time.Hour), 1))
}

func TestDelivery(t *testing.T) {
	t.Parallel()
	testDelivery(t, files)
}

func testDelivery(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 2)
	late := noon.Add(100 * time.Hour)

	require.NoError(t, attempt(s, message(t, s, keys[0]), loops.StoreRevision{}, noon, noon.Add(10*time.Minute)))
	m, err := s.Message(keys[0])
	require.NoError(t, err)
	assert.Equal(t, 1, m.Attempts)
	assert.Equal(t, noon, m.LastAttempt)
	assert.Empty(t, queued(t, s, noon, 10), "an attempt is under way")
	assert.Equal(t, keys[:1], queued(t, s, noon.Add(10*time.Minute), 10), "it is tried again after a kill")

	require.NoError(t, s.MarkDeferred(keys[0], m.Claim, noon.Add(2*time.Hour), 1, loops.Failure{Reason: "451 come back"}))
	assert.Equal(t, []loops.MessageKey{keys[1], keys[0]}, queued(t, s, late, 10))
	m, err = s.Message(keys[0])
	require.NoError(t, err)
	assert.Equal(t, "451 come back", m.LastError)
	assert.Equal(t, loops.Queued, m.Status)

	require.NoError(t, s.MarkDelivered(noon, m.Claim, keys[0]))
	require.NoError(t, s.MarkRefused(keys[1], 0, noon, loops.Failure{Reason: "550 no such mailbox", Status: "5.1.1"}))
	assert.Empty(t, queued(t, s, late, 10))
	assert.ErrorIs(t, attempt(s, message(t, s, keys[0]), loops.StoreRevision{}, noon, late), loops.ErrConflict, "it is delivered")
	assert.ErrorIs(t, attempt(s, loops.Message{Key: "9/2026-12-03/reminder"}, loops.StoreRevision{}, noon, late), loops.ErrNotFound)

	refused := collect(t, s.Messages(loops.Refused))
	require.Len(t, refused, 1)
	assert.Equal(t, "550 no such mailbox", refused[0].LastError)
	assert.Nil(t, refused[0].Raw)
	lines := collect(t, s.Audit())
	assert.Equal(t, "mail refused", lines[0].Action)
	assert.Equal(t, "mail delivered", lines[1].Action)
	sound(t, s)
}

func TestHoldReleaseDrop(t *testing.T) {
	t.Parallel()
	testHoldReleaseDrop(t, files)
}

func testHoldReleaseDrop(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 2)
	late := noon.Add(100 * time.Hour)
	require.NoError(t, s.Hold(keys[0], "rui", noon))
	assert.Equal(t, keys[1:], queued(t, s, late, 10))
	assert.ErrorIs(t, s.Hold(keys[0], "rui", noon), loops.ErrConflict)
	require.NoError(t, s.Release(keys[0], "rui", late))
	assert.Equal(t, []loops.MessageKey{keys[1], keys[0]}, queued(t, s, late, 10))
	assert.ErrorIs(t, s.Release(keys[0], "rui", late), loops.ErrConflict)
	require.NoError(t, s.Drop(keys[0], "rui", late))
	require.NoError(t, s.MarkExpired(keys[1], 0, late, "the day is over"))
	assert.Empty(t, queued(t, s, late, 10))
	assert.ErrorIs(t, s.Drop(keys[0], "rui", late), loops.ErrConflict)
	assert.Equal(t, "rui", collect(t, s.Audit())[1].By)
	sound(t, s)
}

func TestMessagesNewestFirst(t *testing.T) {
	t.Parallel()
	testMessagesNewestFirst(t, files)
}

func testMessagesNewestFirst(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 3)
	var got []loops.MessageKey
	for _, m := range collect(t, s.Messages("")) {
		got = append(got, m.Key)
	}
	assert.Equal(t, []loops.MessageKey{keys[2], keys[1], keys[0]}, got)
}

// A technician drops a message while it is under way: what became of the
// attempt is recorded all the same.
func TestOutcomeAfterDrop(t *testing.T) {
	t.Parallel()
	testOutcomeAfterDrop(t, files)
}

func testOutcomeAfterDrop(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 2)
	for _, key := range keys {
		require.NoError(t, attempt(s, message(t, s, key), loops.StoreRevision{}, noon, noon.Add(time.Hour)))
		require.NoError(t, s.Drop(key, "rui", noon))
	}
	require.NoError(t, s.MarkDelivered(noon, message(t, s, keys[0]).Claim, keys[0]))
	require.NoError(t, s.MarkDeferred(keys[1], message(t, s, keys[1]).Claim, noon.Add(time.Minute), 1, loops.Failure{Reason: "451 come back"}))
	m, err := s.Message(keys[0])
	require.NoError(t, err)
	assert.Equal(t, loops.Delivered, m.Status)
	m, err = s.Message(keys[1])
	require.NoError(t, err)
	assert.Equal(t, loops.Dropped, m.Status)
	assert.Empty(t, queued(t, s, noon.AddDate(1, 0, 0), 10))
	sound(t, s)
}

func TestDeleteBodies(t *testing.T) {
	t.Parallel()
	testDeleteBodies(t, files)
}

func testDeleteBodies(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 3) // created a minute apart
	for _, key := range keys[1:] {
		require.NoError(t, s.MarkDelivered(noon, 0, key))
	}
	n, err := s.DeleteBodies(noon.Add(2*time.Minute), "sweep", noon)
	require.NoError(t, err)
	assert.Equal(t, 1, n, "one is queued, one too young")
	for i, want := range []bool{true, false, true} {
		m, err := s.Message(keys[i])
		require.NoError(t, err)
		assert.Equal(t, want, m.Raw != nil, i)
	}
	n, err = s.DeleteBodies(noon.Add(2*time.Minute), "sweep", noon)
	require.NoError(t, err)
	assert.Zero(t, n)
	sound(t, s)
}

// What a wave takes back is passed over where it is gone or somebody else's, and
// what is delivered already is no error.
func TestAWaveIsTakenBackAndRecordedWhole(t *testing.T) {
	t.Parallel()
	s, keys := outbox(t, files, 3)
	var all []loops.Attempt
	for _, key := range keys {
		all = append(all, loops.Attempt{Message: message(t, s, key), Next: noon.Add(time.Hour)})
	}
	left, err := s.MarkAttempts(all, loops.StoreRevision{}, noon)
	require.NoError(t, err)
	now, err := s.Revision()
	require.NoError(t, err)
	assert.Equal(t, now, left, "a write leaves the next number behind")
	require.NoError(t, s.MarkDelivered(noon, left.Write, keys[2]))
	require.NoError(t, s.MarkDelivered(noon, left.Write, keys[2], keys[1]))
	require.NoError(t, s.MarkNotBegun(left.Write, []loops.Message{all[0].Message, {Key: "1/2026-12-09/reminder"}}))
	m := message(t, s, keys[0])
	assert.False(t, m.Unsure)
	assert.Zero(t, m.Attempts)
	assert.Equal(t, all[0].NextAttempt, m.NextAttempt)
	require.NoError(t, s.MarkNotBegun(left.Write, []loops.Message{all[1].Message}), "which arrived")
	assert.Equal(t, loops.Delivered, message(t, s, keys[1]).Status)
	sound(t, s)
}

// Who stood still while another attempt began puts down nothing about the message
// any more, also where it never got as far as an attempt of its own.
func TestOutcomeOfAnAttemptThatWasOvertaken(t *testing.T) {
	t.Parallel()
	testOutcomeOfAnAttemptThatWasOvertaken(t, files)
}

func testOutcomeOfAnAttemptThatWasOvertaken(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 1)
	key := keys[0]
	read := message(t, s, key)
	claim := func(m loops.Message, at time.Time) uint64 {
		left, err := s.MarkAttempts([]loops.Attempt{{Message: m, Next: at.Add(time.Hour)}}, loops.StoreRevision{}, at)
		require.NoError(t, err)
		return left.Write
	}
	first := claim(read, noon)
	// Another daemon's relay is at fault, so that all but the claim is as it was read.
	second := claim(message(t, s, key), noon.Add(time.Hour))
	require.NoError(t, s.MarkDeferred(key, second, read.NextAttempt, read.Attempts, loops.Failure{Unsure: true}))
	want := message(t, s, key)
	assert.Equal(t, second, want.Claim)
	for name, mark := range map[string]func(stale uint64) error{
		"delivered": func(stale uint64) error { return s.MarkDelivered(noon, stale, key) },
		"deferred":  func(stale uint64) error { return s.MarkDeferred(key, stale, noon, 0, loops.Failure{}) },
		"refused":   func(stale uint64) error { return s.MarkRefused(key, stale, noon, loops.Failure{}) },
		"held":      func(stale uint64) error { return s.MarkHeld(key, stale, noon, loops.Failure{}) },
		"expired":   func(stale uint64) error { return s.MarkExpired(key, stale, noon, "too late") },
		"an attempt": func(stale uint64) error {
			m := read
			m.Claim = stale
			return attempt(s, m, loops.StoreRevision{}, noon, noon)
		},
	} {
		for _, stale := range []uint64{read.Claim, first} {
			err := mark(stale)
			require.ErrorIs(t, err, loops.ErrRepeated, "%s, claim %d", name, stale)
			require.ErrorIs(t, err, loops.ErrConflict, "%s, claim %d", name, stale)
		}
	}
	require.NoError(t, s.MarkNotBegun(first, []loops.Message{read}), "it is the other daemon's")
	assert.Equal(t, want, message(t, s, key), "nothing was put down")
	require.NoError(t, s.MarkDelivered(noon, second, key))
	sound(t, s)
}
