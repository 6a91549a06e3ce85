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

func TestRevisionChangesWithEveryWriteAndOnlyThen(t *testing.T) {
	t.Parallel()
	testRevisionChangesWithEveryWriteAndOnlyThen(t, files)
}

func testRevisionChangesWithEveryWriteAndOnlyThen(t *testing.T, fresh place) {
	s, err := store.Open(fresh(t), store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	seen := map[loops.StoreRevision]bool{}
	look := func(fresh bool, when string) {
		t.Helper()
		r, err := s.Revision()
		require.NoError(t, err)
		assert.Equal(t, fresh, !seen[r], when)
		seen[r] = true
	}
	at := time.Date(2026, time.December, 3, 12, 0, 0, 0, time.UTC)
	look(true, "empty")
	look(false, "nothing happened")
	for id := range loops.OwnerID(5) {
		require.NoError(t, s.Commit(loops.Change{At: at, By: "test", Action: "owner add", Owners: []loops.Owner{{ID: id + 1, Name: "Ana"}}}))
		look(true, "an owner more")
		_, err := s.Owner(id + 1)
		require.NoError(t, err)
		look(false, "only read")
	}
	require.NoError(t, s.CommitAccess(loops.Access{At: at, By: "test", SignIns: []loops.SignIn{{Hash: "ab", Technician: "bo", Began: at, Seen: at}}}))
	look(true, "a write without a line in the audit")
	if !store.InDatabase(s.Path()) {
		_, _, err = s.Compact(t.Context())
		require.NoError(t, err)
	}
	require.NoError(t, s.Commit(loops.Change{At: at, By: "test", Action: "owner add", Owners: []loops.Owner{{ID: 9, Name: "Bea"}}}))
	look(true, "a write after compaction, which counts again")
}
