// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops/store"
)

// The file that is open is told from one that took its name, also after a
// compaction that swapped it rightly.
func TestStandsTellsAMovedFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { assert.NoError(t, s.Close()) }()
	require.NoError(t, s.Stands())
	_, _, err = s.Compact(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Stands(), "compaction swaps the file itself")

	require.NoError(t, os.Rename(path, path+".away"))
	require.ErrorIs(t, s.Stands(), store.ErrMoved)
	other, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, other.Close())
	require.ErrorIs(t, s.Stands(), store.ErrMoved)
	assert.ErrorContains(t, s.Stands(), "another file")
	require.NoError(t, os.Rename(path+".away", path))
	require.NoError(t, s.Stands())
}

// What is open for reading alone says so to whoever writes.
func TestReadOnlyStoreSaysSo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer func() { assert.NoError(t, s.Close()) }()
	_, err = s.NewOwnerID()
	require.ErrorIs(t, err, store.ErrReadOnly)
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	assert.True(t, report.OK(), report.Problems)
}
