// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	s := open(t)
	require.NoError(t, s.Commit(workshop(t, s)))
	folder := t.TempDir()
	copied := filepath.Join(folder, "backup")
	require.NoError(t, s.Backup(ctx, copied))
	require.NoError(t, s.Commit(workshop(t, s)), "the store goes on")
	require.ErrorIs(t, s.Backup(ctx, copied), os.ErrExist)

	info, err := os.Stat(copied)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode())

	require.ErrorIs(t, store.Restore(ctx, copied, s.Path()), os.ErrExist, "never over a store")
	restored := filepath.Join(folder, "restored")
	require.NoError(t, store.Restore(ctx, copied, restored))
	back, err := store.Open(restored, store.Options{})
	require.NoError(t, err)
	assert.Len(t, collect(t, back.Owners()), 1)
	sound(t, back)
	require.NoError(t, back.Close())
	files, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, files, 2, "nothing is left over")
}

// Writers go on while backups are made, and each copy holds whole changes.
func TestBackupUnderWriters(t *testing.T) {
	t.Parallel()
	s := open(t)
	stop, done := make(chan struct{}), make(chan error, 1)
	go func() {
		for {
			select {
			case <-stop:
				done <- nil
				return
			default:
			}
			if err := s.Commit(workshop(t, s)); err != nil {
				done <- err
				return
			}
		}
	}()
	for n := range 10 {
		require.NoError(t, s.Backup(t.Context(), filepath.Join(t.TempDir(), string(rune('a'+n)))))
	}
	close(stop)
	require.NoError(t, <-done)
	sound(t, s)
}

func TestRestoreRefusesWhatIsDamaged(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	content, path := closedFile(t)
	for name, damage := range map[string]func([]byte) []byte{
		"cut off": func(b []byte) []byte { return b[:len(b)/2] },
		"changed": func(b []byte) []byte {
			for i := range b[:len(b)-8] {
				if string(b[i:i+8]) == "Ana Fern" {
					b[i] = 'E'
				}
			}
			return b
		},
	} {
		bad := path + "." + name
		require.NoError(t, os.WriteFile(bad, damage(append([]byte(nil), content...)), 0o600))
		to := filepath.Join(t.TempDir(), "restored")
		require.ErrorIs(t, store.Restore(ctx, bad, to), loops.ErrDamaged, name)
		_, err := os.Stat(to)
		assert.ErrorIs(t, err, os.ErrNotExist)
	}
	text := path + ".text"
	require.NoError(t, os.WriteFile(text, []byte("not a store, but long enough to be read as one\n"), 0o600))
	assert.Error(t, store.Restore(ctx, text, path+".restored"))
}

func TestCompact(t *testing.T) {
	t.Parallel()
	for name, compact := range map[string]func(*store.Store, context.Context) (before, after int64, err error){
		"as here": (*store.Store).Compact, "as where an open file cannot be renamed": store.CompactClosed,
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			compacts(t, compact)
		})
	}
}

func compacts(t *testing.T, compact func(*store.Store, context.Context) (before, after int64, err error)) {
	t.Helper()
	ctx := t.Context()
	s := open(t)
	first := workshop(t, s)
	first.Messages = []loops.Message{aMessage(first.Owners[0].ID, first.Entries[0].Day, noon)}
	require.NoError(t, s.Commit(first))
	for range 400 { // each leaves old pages behind
		require.NoError(t, s.Commit(workshop(t, s)))
	}
	l, err := s.Loop(1)
	require.NoError(t, err)
	before, after, err := compact(s, ctx)
	require.NoError(t, err)
	assert.Less(t, after, before)
	t.Logf("%d bytes before, %d after", before, after)
	info, err := os.Stat(s.Path())
	require.NoError(t, err)
	assert.Equal(t, after, info.Size())
	assert.Equal(t, os.FileMode(0o600), info.Mode())

	same, err := s.Loop(1)
	require.NoError(t, err)
	assert.Equal(t, l, same)
	dues, err := s.DueThrough(first.Loops[0].Plan.Tasks[0].Due)
	require.NoError(t, err)
	assert.Len(t, dues, 401, "an index line is no bucket")
	next, err := s.NewOwnerID()
	require.NoError(t, err)
	assert.Equal(t, loops.OwnerID(402), next, "counters go on")
	require.NoError(t, s.Commit(workshop(t, s)))
	sound(t, s)
	_, err = store.Open(s.Path(), store.Options{Timeout: 1})
	require.ErrorIs(t, err, loops.ErrInUse, "the new file is held")
	require.NoError(t, s.Backup(ctx, s.Path()+".backup"))
	files, err := os.ReadDir(filepath.Dir(s.Path()))
	require.NoError(t, err)
	assert.Len(t, files, 2)
}

// What a kill left of a new, restored or compacted store goes when it is opened.
func TestLeftovers(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	for _, name := range []string{path + ".part-1234", path + ".compact", path + ".backup", path + ".backup.part-1"} {
		require.NoError(t, os.WriteFile(name, []byte("half"), 0o600))
	}
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	var left []string
	files, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	for _, f := range files {
		left = append(left, f.Name())
	}
	assert.Equal(t, []string{"shop.fillmark", "shop.fillmark.backup", "shop.fillmark.backup.part-1"}, left)
}

// A damaged store is not compacted, and stays as it is and open.
func TestCompactRefusesWhatIsDamaged(t *testing.T) {
	t.Parallel()
	_, path := closedFile(t)
	spoil(t, path)
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	_, _, err = s.Compact(t.Context())
	require.ErrorIs(t, err, loops.ErrDamaged)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
	_, err = s.Owner(1)
	require.NoError(t, err)
	require.NoError(t, s.Close())
}
