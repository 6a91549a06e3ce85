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

func TestBouncesCountUntilADelivery(t *testing.T) {
	t.Parallel()
	testBouncesCountUntilADelivery(t, files)
}

func testBouncesCountUntilADelivery(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 4)
	first, err := s.Message(keys[0])
	require.NoError(t, err)
	require.ErrorIs(t, s.MarkBounced(keys[0], noon, loops.Failure{Reason: "no such mailbox"}), loops.ErrConflict, "it was never delivered")
	require.NoError(t, s.MarkDelivered(noon, 0, keys[0]))
	for _, key := range keys[1:] {
		require.NoError(t, s.MarkDelivered(noon, 0, key))
		require.NoError(t, s.MarkBounced(key, noon.Add(time.Hour), loops.Failure{Reason: "mailbox full", Status: "5.2.2"}))
	}
	n, err := s.RefusedInARow(first.To)
	require.NoError(t, err)
	assert.Equal(t, 3, n)
	n, err = s.RefusedInARow("nobody@garden.example")
	require.NoError(t, err)
	assert.Zero(t, n)
}

func TestRequeue(t *testing.T) {
	t.Parallel()
	testRequeue(t, files)
}

func testRequeue(t *testing.T, fresh place) {
	s, keys := outbox(t, fresh, 2)
	require.NoError(t, s.MarkRefused(keys[0], 0, noon, loops.Failure{Reason: "no such mailbox"}))
	require.NoError(t, s.Requeue(keys[0], "test", noon.Add(time.Hour)))
	m, err := s.Message(keys[0])
	require.NoError(t, err)
	assert.Equal(t, loops.Queued, m.Status)
	assert.Zero(t, m.Attempts)
	assert.True(t, m.PointlessAfter.IsZero())
	assert.Contains(t, queued(t, s, noon.Add(2*time.Hour), 10), keys[0])
	require.NoError(t, s.MarkDelivered(noon, 0, keys[1]))
	require.ErrorIs(t, s.Requeue(keys[1], "test", noon), loops.ErrConflict)
	testTakeBack(t, s, keys[0])
}

// What is taken back keeps its end, and goes nowhere without its text.
func testTakeBack(t *testing.T, s *store.Store, key loops.MessageKey) {
	t.Helper()
	require.ErrorIs(t, s.TakeBack(key, "test", noon, noon.Add(time.Hour)), loops.ErrConflict, "it was not refused")
	require.NoError(t, s.MarkRefused(key, 0, noon, loops.Failure{Reason: "no such mailbox"}))
	require.NoError(t, s.TakeBack(key, "test", noon, noon.Add(time.Hour)))
	m, err := s.Message(key)
	require.NoError(t, err)
	assert.Equal(t, loops.Queued, m.Status)
	assert.Equal(t, noon, m.Blamed)
	require.NoError(t, s.MarkRefused(key, 0, noon, loops.Failure{Reason: "no such mailbox"}))
	refused, err := s.RefusedByRelay()
	require.NoError(t, err)
	assert.Empty(t, refused)
	n, err := s.DeleteBodies(m.Created.Add(time.Hour), "test", noon)
	require.NoError(t, err)
	require.NotZero(t, n)
	require.ErrorIs(t, s.TakeBack(key, "test", noon, noon.Add(time.Hour)), loops.ErrConflict)
}

// A letter that came back had been taken, and still had been once its owner is
// erased; one that was refused is nobody's then.
func TestBouncesOfAnErasedOwner(t *testing.T) {
	t.Parallel()
	s, keys := outbox(t, files, 2)
	attempts := []loops.Attempt{{Message: message(t, s, keys[0]), Next: noon.Add(time.Hour)}, {Message: message(t, s, keys[1]), Next: noon.Add(time.Hour)}}
	claim, err := s.MarkAttempts(attempts, loops.StoreRevision{}, noon)
	require.NoError(t, err)
	require.NoError(t, s.MarkRefused(keys[0], claim.Write, noon, loops.Failure{Reason: "550 relaying denied"}))
	listed, err := s.RefusedByRelay()
	require.NoError(t, err)
	require.Len(t, listed, 1)
	require.NoError(t, s.MarkDelivered(noon, claim.Write, keys[1]))
	require.NoError(t, s.MarkBounced(keys[1], noon, loops.Failure{Reason: loops.CameBack + "5.1.1 no such user ana", Status: "5.1.1"}))

	require.NoError(t, s.EraseOwner(1, "rui", noon, nameless()))
	bounced, err := s.Message(keys[1])
	require.NoError(t, err)
	assert.True(t, bounced.Taken())
	assert.Equal(t, loops.CameBack, bounced.LastError, "and nothing of what it said")
	listed, err = s.RefusedByRelay()
	require.NoError(t, err)
	assert.Empty(t, listed)
}
