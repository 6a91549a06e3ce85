// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store"
)

// noted adds a note with a key to loop 1, recorded at the instant.
func noted(t *testing.T, s *store.Store, at time.Time, key string) error {
	t.Helper()
	l, err := s.Loop(1)
	require.NoError(t, err)
	l.LastEntry++
	c := change("note")
	c.Loops = []loops.Loop{l}
	c.Entries = []loops.Entry{{ID: l.LastEntry, Loop: 1, Recorded: at, Day: loops.DayOf(at, time.UTC), By: "rui", Kind: loops.KindNote, Note: key, Key: key}}
	return s.Commit(c)
}

// A key stands for one entry until it is forgotten; then it may come again, and
// the newest entry is the one it stands for, also after an export and import.
func TestActKeys(t *testing.T) {
	t.Parallel()
	testActKeys(t, files)
}

func testActKeys(t *testing.T, fresh place) {
	s := fresh.open(t)
	require.NoError(t, s.Commit(workshop(t, s)))
	require.NoError(t, noted(t, s, noon, "first"))
	require.NoError(t, noted(t, s, noon.AddDate(0, 0, 1), "first-and-more"))
	require.ErrorIs(t, noted(t, s, noon.AddDate(0, 0, 1), "first"), loops.ErrRepeated)
	sound(t, s)
	e, err := s.EntryByKey("first")
	require.NoError(t, err)
	assert.Equal(t, "first", e.Note)
	for _, none := range []string{"", "firs", "first-and"} {
		_, err = s.EntryByKey(none)
		require.ErrorIs(t, err, loops.ErrNotFound, none)
	}

	forgotten, err := s.ForgetActKeys(noon.Add(time.Second))
	require.NoError(t, err)
	assert.Equal(t, 1, forgotten)
	_, err = s.EntryByKey("first")
	require.ErrorIs(t, err, loops.ErrNotFound)
	_, err = s.EntryByKey("first-and-more")
	require.NoError(t, err, "this one is not old")
	forgotten, err = s.ForgetActKeys(noon.Add(-time.Hour))
	require.NoError(t, err)
	assert.Zero(t, forgotten, "what is forgotten stays so")
	sound(t, s)
	require.NoError(t, noted(t, s, noon.AddDate(0, 0, 91), "first"))
	sound(t, s)

	text := exportOf(t, s)
	path := fresh(t)
	require.NoError(t, store.Import(t.Context(), path, bytes.NewReader(text)))
	again, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, again.Close()) }()
	sound(t, again)
	assert.Equal(t, string(text), string(exportOf(t, again)))
	for key, want := range map[string]time.Time{"first": noon.AddDate(0, 0, 91), "first-and-more": noon.AddDate(0, 0, 1)} {
		e, err = again.EntryByKey(key)
		require.NoError(t, err)
		assert.True(t, want.Equal(e.Recorded), "%s stands for %s", key, e.Recorded)
	}
}

// A line of the index that lacks, or that no entry asks for, is found.
func TestCheckComparesActKeys(t *testing.T) {
	t.Parallel()
	for name, damage := range map[string]func(b *bolt.Bucket) error{
		"the line is missing": func(b *bolt.Bucket) error {
			k, _ := b.Cursor().First()
			return b.Delete(k)
		},
		"a line that no record asks for": func(b *bolt.Bucket) error {
			k, _ := b.Cursor().First()
			return b.Put(append([]byte("an"), k...), nil)
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "register")
			s, err := store.Open(path, store.Options{})
			require.NoError(t, err)
			require.NoError(t, s.Commit(workshop(t, s)))
			require.NoError(t, noted(t, s, noon, "first"))
			require.NoError(t, s.Close())
			db, err := bolt.Open(path, 0o600, nil)
			require.NoError(t, err)
			require.NoError(t, db.Update(func(tx *bolt.Tx) error { return damage(tx.Bucket([]byte("act keys"))) }))
			require.NoError(t, db.Close())
			s, err = store.Open(path, store.Options{})
			require.NoError(t, err)
			defer func() { require.NoError(t, s.Close()) }()
			report, err := s.Check(t.Context())
			require.NoError(t, err)
			require.Len(t, report.Problems, 1)
			assert.Contains(t, report.Problems[0].String(), "act keys")
			assert.Contains(t, report.Problems[0].String(), name)
		})
	}
}

// An export made before the acts were judged imports, with every state folded
// from its history.
func TestImportOfAnExportBeforeTheActs(t *testing.T) {
	t.Parallel()
	testImportOfAnExportBeforeTheActs(t, files)
}

func testImportOfAnExportBeforeTheActs(t *testing.T, fresh place) {
	text, err := os.ReadFile(filepath.Join("testdata", "export-2026-11-25.jsonl"))
	require.NoError(t, err)
	path := fresh(t)
	require.NoError(t, store.Import(t.Context(), path, bytes.NewReader(text)))
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	sound(t, s)
	l, err := s.LoopByTag("7K3QXA")
	require.NoError(t, err)
	history, err := s.History(l.ID)
	require.NoError(t, err)
	assert.Equal(t, loops.Fold(history), l.State)
	assert.NotContains(t, string(text), `"arrived"`, "the file knows nothing of this state")
	assert.False(t, l.State.Arrived.IsZero(), "the import folds it")

	// What the file says a state is does not count.
	lies := bytes.Replace(text, []byte(`"running_hours":8123.5,"settings"`), []byte(`"running_hours":1,"settings"`), 1)
	require.NotEqual(t, string(text), string(lies))
	path = fresh(t)
	require.NoError(t, store.Import(t.Context(), path, bytes.NewReader(lies)))
	other, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	defer func() { require.NoError(t, other.Close()) }()
	assert.Equal(t, string(exportOf(t, s)), string(exportOf(t, other)))
}
