// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/testdata/peer"
)

func TestStoreInADatabase(t *testing.T) {
	t.Parallel()
	server := peer.StartPostgres(t)
	t.Run("moves", func(t *testing.T) { moves(t, server) })
	t.Run("is one for all", func(t *testing.T) { sharedStore(t, server) })
}

// A store in a database is the store in a file: what one exports the other takes
// and exports again, byte for byte, and the check finds nothing wrong with either.
func moves(t *testing.T, server *peer.Postgres) {
	file := open(t)
	everything(t, file)
	want := exported(t, file)

	address := schema(t, server, "moved")
	require.NoError(t, store.Import(t.Context(), address, bytes.NewReader(want)))
	database, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	sound(t, database)
	assert.Equal(t, string(want), string(exported(t, database)))

	// It goes on there, and back.
	require.NoError(t, database.Commit(workshop(t, database)))
	sound(t, database)
	more := exported(t, database)
	back := filepath.Join(t.TempDir(), "back")
	require.NoError(t, store.Import(t.Context(), back, bytes.NewReader(more)))
	again, err := store.Open(back, store.Options{})
	require.NoError(t, err)
	assert.Equal(t, string(more), string(exported(t, again)))
	require.NoError(t, again.Close())

	// One that is there is never replaced, one that is cut off leaves nothing.
	require.ErrorIs(t, store.Import(t.Context(), address, bytes.NewReader(want)), os.ErrExist)
	half := schema(t, server, "half")
	require.Error(t, store.Import(t.Context(), half, bytes.NewReader(want[:len(want)/2])))
	require.NoError(t, store.Import(t.Context(), half, bytes.NewReader(want)))

	// What only a file has is refused, and says so.
	_, _, err = database.Compact(t.Context())
	require.ErrorContains(t, err, "not kept in a file")
	require.ErrorContains(t, database.Backup(t.Context(), back+".backup"), "not kept in a file")
	require.NoError(t, database.InPlace())
	require.NoError(t, database.Close())
}

// A new database becomes a store, opened by two at once it is one, and what is
// opened for reading alone is not written to.
func sharedStore(t *testing.T, server *peer.Postgres) {
	address := schema(t, server, "shop")
	_, err := store.Open(address, store.Options{ReadOnly: true})
	require.ErrorIs(t, err, fs.ErrNotExist)
	first, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	second, err := store.Open(address, store.Options{})
	require.NoError(t, err)
	assert.Equal(t, first.ID(), second.ID())
	assert.Len(t, first.ID(), 32)

	c := workshop(t, first)
	require.NoError(t, first.Commit(c))
	got, err := second.Owner(c.Owners[0].ID)
	require.NoError(t, err)
	require.NoError(t, first.Commit(loops.Change{At: noon, By: "local:test", Action: "edit", Owners: []loops.Owner{got}}))
	require.ErrorIs(t, second.Commit(loops.Change{At: noon, By: "local:test", Action: "edit", Owners: []loops.Owner{got}}), loops.ErrConflict,
		"the same is told as in a file")
	sound(t, second)

	reader, err := store.Open(address, store.Options{ReadOnly: true})
	require.NoError(t, err)
	_, err = reader.NewOwnerID()
	require.ErrorIs(t, err, loops.ErrReadOnly)
	for _, s := range []*store.Store{first, second, reader} {
		require.NoError(t, s.Close())
	}
}

// exported is the whole export.
func exported(t testing.TB, s *store.Store) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, s.Export(t.Context(), &b))
	return b.Bytes()
}
