// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// A file that was removed, replaced or moved away under the program takes no
// write that would be lost with it; what it holds can still be read and copied.
func TestAFileThatIsGoneTakesNoWrite(t *testing.T) {
	t.Parallel()
	for name, gone := range map[string]func(t *testing.T, path string){
		"removed": func(t *testing.T, path string) { require.NoError(t, os.Remove(path)) },
		"replaced": func(t *testing.T, path string) {
			other, err := store.Open(path+".other", store.Options{})
			require.NoError(t, err)
			require.NoError(t, other.Close())
			require.NoError(t, os.Rename(path+".other", path))
		},
		"the folder moved": func(t *testing.T, path string) {
			require.NoError(t, os.Rename(filepath.Dir(path), filepath.Dir(path)+"-moved"))
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			top := t.TempDir()
			require.NoError(t, os.Mkdir(filepath.Join(top, "shop"), 0o700))
			path := filepath.Join(top, "shop", "shop.fillmark")
			s, err := store.Open(path, store.Options{})
			require.NoError(t, err)
			kept := workshop(t, s)
			require.NoError(t, s.Commit(kept))
			lost := workshop(t, s)
			require.NoError(t, s.InPlace())

			gone(t, path)
			err = s.Commit(lost)
			require.ErrorIs(t, err, loops.ErrGone)
			require.ErrorContains(t, err, "removed or replaced")
			assert.NotContains(t, err.Error(), "stat ", "a system call says nothing to a workshop")
			assert.True(t, loops.NoWrite(err))
			require.ErrorIs(t, s.InPlace(), loops.ErrGone)
			require.ErrorIs(t, s.Note(loops.AuditLine{By: "test", Action: "note"}), loops.ErrGone)
			_, _, err = s.Compact(t.Context())
			require.ErrorIs(t, err, loops.ErrGone)
			_, err = s.Loop(lost.Loops[0].ID)
			require.ErrorIs(t, err, loops.ErrNotFound, "what was refused is not there")

			copied := filepath.Join(top, "copy")
			require.NoError(t, s.Backup(t.Context(), copied))
			require.NoError(t, s.Close())
			back, err := store.Open(copied, store.Options{})
			require.NoError(t, err)
			got, err := back.Loop(kept.Loops[0].ID)
			require.NoError(t, err)
			assert.Equal(t, kept.Loops[0].Tag, got.Tag)
			require.NoError(t, back.Close())
		})
	}
}

// A file that goes between the look before a write and its end is seen before
// anybody is told that the write is kept.
func TestAFileThatGoesDuringAWriteIsSeen(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	change := workshop(t, s)
	require.NoError(t, s.Commit(change))
	exported, wrote := io.Pipe()
	done := make(chan error, 1)
	go func() {
		for {
			if err := s.Note(loops.AuditLine{By: "test", Action: "note"}); err != nil {
				done <- err
				_ = wrote.Close() // nobody reads what is closed
				return
			}
			if _, err := wrote.Write([]byte{0}); err != nil {
				done <- err
				return
			}
		}
	}()
	_, err = io.CopyN(io.Discard, exported, 5)
	require.NoError(t, err)
	require.NoError(t, os.Remove(path))
	acknowledged, err := io.Copy(io.Discard, exported)
	require.NoError(t, err)
	require.ErrorIs(t, <-done, loops.ErrGone)
	assert.LessOrEqual(t, acknowledged, int64(1), "one was kept before the file went and not read yet")
	require.NoError(t, s.Close())
}

// A compacted store is another file, and goes on.
func TestCompactionIsNoReplacement(t *testing.T) {
	t.Parallel()
	s, err := store.Open(filepath.Join(t.TempDir(), "shop.fillmark"), store.Options{})
	require.NoError(t, err)
	_, _, err = s.Compact(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.InPlace())
	require.NoError(t, s.Commit(workshop(t, s)))
	require.NoError(t, s.Close())
}
