// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/testdata/peer"
)

// A real file system runs full: every acknowledged write is there, the refused
// one is not, reads go on, and writes go on once there is space again.
func TestFullDisk(t *testing.T) {
	folder := peer.Disk(t, "1536k")
	ballast := filepath.Join(folder, "ballast")
	require.NoError(t, os.WriteFile(ballast, make([]byte, 700_000), 0o600))
	path := filepath.Join(folder, "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)

	kept := fillUp(t, s)
	require.NotEmpty(t, kept)
	allThere(t, s, kept)
	require.ErrorIs(t, s.Backup(t.Context(), filepath.Join(folder, "backup")), loops.ErrFull)
	_, _, err = s.Compact(t.Context())
	require.ErrorIs(t, err, loops.ErrFull)
	kept = append(kept, fillUp(t, s)...) // what the failed copies left free
	allThere(t, s, kept)

	require.NoError(t, os.Remove(ballast))
	for range 20 {
		c := workshop(t, s)
		require.NoError(t, s.Commit(c))
		kept = append(kept, c.Loops[0])
	}
	allThere(t, s, kept)
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	allThere(t, s, kept)
	require.NoError(t, s.Close())
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, left, 1, "only the store")
}
