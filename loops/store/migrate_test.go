// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/loops/store/engine"
)

func addBucket(name string) func(engine.Writer) error {
	return func(tx engine.Writer) error { return tx.MakeBucket(name) }
}

func TestMigrateAfterBackup(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	s, err := store.OpenWith(path, addBucket("second"), addBucket("third"))
	require.NoError(t, err)
	owner, err := s.Owner(1)
	require.NoError(t, err)
	assert.Equal(t, "Ana Fern", owner.Name)
	require.NoError(t, s.Close())

	// The older program refuses the file, and the way back is beside it.
	_, err = store.Open(path, store.Options{})
	require.ErrorIs(t, err, loops.ErrNewer)
	assert.ErrorContains(t, err, "its schema is 3, this program knows 1")
	info, err := os.Stat(path + ".schema-1")
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode())
	old, err := store.Open(path+".schema-1", store.Options{})
	require.NoError(t, err)
	sound(t, old)
	require.NoError(t, old.Close())

	// Opened again, nothing runs twice.
	s, err = store.OpenWith(path, addBucket("second"), addBucket("third"))
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// A step that fails leaves the file at the last version that was reached.
func TestMigrationThatFails(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	broken := errors.New("disk on fire")
	_, err := store.OpenWith(path, addBucket("second"), func(tx engine.Writer) error {
		return errors.Join(addBucket("half")(tx), broken)
	})
	require.ErrorIs(t, err, broken)
	assert.ErrorContains(t, err, "migration to schema 3")
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.View(func(tx *bolt.Tx) error {
		assert.NotNil(t, tx.Bucket([]byte("second")))
		assert.Nil(t, tx.Bucket([]byte("half")))
		return nil
	}))
	require.NoError(t, db.Close())
	s, err := store.OpenWith(path, addBucket("second"), addBucket("third"))
	require.NoError(t, err)
	require.NoError(t, s.Close())
}

// An empty file is not taken for a new store: it may be all that is left of one.
func TestEmptyFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	require.NoError(t, os.WriteFile(path, nil, 0o600))
	_, err := store.Open(path, store.Options{})
	require.ErrorIs(t, err, loops.ErrDamaged)
	db, err := bolt.Open(path, 0o600, nil)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	_, err = store.Open(path, store.Options{})
	require.ErrorIs(t, err, loops.ErrDamaged)
}
