// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// fillUp commits until there is no space, and returns what was acknowledged.
func fillUp(t *testing.T, s *store.Store) []loops.Loop {
	t.Helper()
	var kept []loops.Loop
	for range 5000 {
		c, err := nextWorkshop(s)
		if err == nil {
			err = s.Commit(c)
		}
		if err != nil {
			require.ErrorIs(t, err, loops.ErrFull)
			return kept
		}
		kept = append(kept, c.Loops[0])
	}
	t.Fatal("it never ran full")
	return nil
}

func allThere(t *testing.T, s *store.Store, kept []loops.Loop) {
	t.Helper()
	sound(t, s)
	assert.Len(t, collect(t, s.Loops()), len(kept))
	for _, want := range kept {
		got, err := s.Loop(want.ID)
		require.NoError(t, err)
		want.Revision = 1
		assert.Equal(t, want, got)
	}
}

func TestMaxSize(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{MaxSize: 600_000})
	require.NoError(t, err)
	kept := fillUp(t, s)
	require.NotEmpty(t, kept)
	allThere(t, s, kept)
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Commit(workshop(t, s)), "it goes on with more room")
	require.NoError(t, s.Close())
}
