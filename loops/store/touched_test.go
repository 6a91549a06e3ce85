// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

func TestWhatWasTouchedSince(t *testing.T) {
	t.Parallel()
	s, err := store.Open(filepath.Join(t.TempDir(), "register.db"), store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	at := time.Date(2026, time.December, 3, 12, 0, 0, 0, time.UTC)
	add := func(id loops.OwnerID) error {
		return s.Commit(loops.Change{At: at, By: "test", Action: "owner add", Owners: []loops.Owner{{ID: id, Name: "Ana"}}})
	}
	begun, err := s.Revision()
	require.NoError(t, err)
	owners := func(since loops.StoreRevision) (map[loops.OwnerID]bool, loops.StoreRevision, bool) {
		t.Helper()
		touched, now, known, err := s.TouchedSince(since)
		require.NoError(t, err)
		assert.Empty(t, touched.Loops)
		return touched.Owners, now, known
	}
	none, now, known := owners(begun)
	assert.True(t, known)
	assert.Equal(t, begun, now)
	assert.Empty(t, none)

	require.NoError(t, add(1))
	require.NoError(t, add(2))
	_, err = s.NewLoopID()
	require.NoError(t, err)
	both, middle, known := owners(begun)
	assert.True(t, known)
	assert.Equal(t, map[loops.OwnerID]bool{1: true, 2: true}, both)
	require.ErrorIs(t, add(1), loops.ErrConflict)
	none, _, known = owners(middle)
	assert.True(t, known)
	assert.Empty(t, none, "what did not take place touched nothing")

	_, _, known = owners(loops.StoreRevision{})
	assert.False(t, known, "from before it was opened")
	many := loops.Change{At: at, By: "test", Action: "import"}
	for id := range loops.OwnerID(300) {
		many.Owners = append(many.Owners, loops.Owner{ID: 100 + id, Name: "Bea"})
	}
	require.NoError(t, s.Commit(many))
	_, now, known = owners(middle)
	assert.False(t, known, "too many to tell")
	require.NoError(t, add(3))
	one, now, known := owners(now)
	assert.True(t, known)
	assert.Equal(t, map[loops.OwnerID]bool{3: true}, one)

	require.NoError(t, s.Suppress(loops.Suppression{Address: "ana@garden.example", Since: at}, "test"))
	_, now, known = owners(now)
	assert.False(t, known, "an address may be anybody's")
	_, _, err = s.Compact(t.Context())
	require.NoError(t, err)
	require.NoError(t, add(4))
	_, _, known = owners(now)
	assert.False(t, known, "compaction counts revisions again")
	for id := range loops.OwnerID(1100) {
		require.NoError(t, s.Note(loops.AuditLine{At: at, By: "test", Action: "noted"}))
		if id == 1000 {
			_, now, _ = owners(now)
		}
	}
	_, _, known = owners(now)
	assert.True(t, known, "of the last writes")
}
