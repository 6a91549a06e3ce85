// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"fillmark/loops/store"
)

func idAt(t *testing.T, path string, opts store.Options) string {
	t.Helper()
	s, err := store.Open(path, opts)
	require.NoError(t, err)
	sound(t, s)
	id := s.ID()
	require.NoError(t, s.Close())
	return id
}

// A register has an id of its own, which stays: reopened, made smaller and
// copied back it is the same register. What was imported is another.
func TestRegisterHasItsOwnID(t *testing.T) {
	t.Parallel()
	s, other := open(t), open(t)
	id := s.ID()
	assert.Regexp(t, `^[0-9a-f]{32}$`, id)
	assert.NotEqual(t, other.ID(), id)

	require.NoError(t, s.Commit(workshop(t, s)))
	_, _, err := s.Compact(t.Context())
	require.NoError(t, err)
	backup := filepath.Join(t.TempDir(), "backup")
	require.NoError(t, s.Backup(t.Context(), backup))
	assert.Equal(t, id, idAt(t, backup, store.Options{}))
	assert.Equal(t, id, idAt(t, backup, store.Options{ReadOnly: true}))

	imported := filepath.Join(t.TempDir(), "imported")
	require.NoError(t, store.Import(t.Context(), imported, bytes.NewReader(exportOf(t, s))))
	assert.NotEqual(t, id, idAt(t, imported, store.Options{}))
	assert.NotContains(t, string(exportOf(t, s)), id)
}

// A register of an earlier version gets its id when it is first opened for
// writing, and is left as it is by whoever only reads.
func TestOldRegisterGetsAnID(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Update(func(tx *bolt.Tx) error {
		return tx.Bucket([]byte("meta")).Delete([]byte("register id"))
	}))
	require.NoError(t, db.Close())
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Empty(t, idAt(t, path, store.Options{ReadOnly: true}))
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
	id := idAt(t, path, store.Options{})
	assert.Len(t, id, 32)
	assert.Equal(t, id, idAt(t, path, store.Options{}))
}
