// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package disk_test

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/disk"
)

func TestWriteNewNeverReplaces(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "key")
	require.NoError(t, disk.WriteNew(path, strings.NewReader("first")))
	require.ErrorIs(t, disk.WriteNew(path, strings.NewReader("second")), fs.ErrExist)
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "first", string(content))
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, fs.FileMode(0o600), info.Mode().Perm())
	assert.Error(t, disk.WriteNew(filepath.Join(path+" elsewhere", "key"), strings.NewReader("x")), "no folder is made")
}

func TestWriteNewLeavesNoHalf(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "key")
	broken := io.MultiReader(strings.NewReader("half"), iotest.ErrReader(errors.New("unplugged")))
	require.ErrorContains(t, disk.WriteNew(path, broken), "unplugged")
	assert.NoFileExists(t, path)
}

func TestReplaceLeavesTheFileAlone(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	path := filepath.Join(folder, "token")
	require.NoError(t, disk.Replace(path, []byte("old")))
	require.NoError(t, disk.Replace(path, []byte("new")))
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "new", string(content))
	require.NoError(t, os.Mkdir(filepath.Join(folder, "taken"), 0o700))
	require.Error(t, disk.Replace(filepath.Join(folder, "taken"), []byte("x")))
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, left, 2, "what could not take the name is removed")
}

func TestCopyAllCopiesWhatLiesBelow(t *testing.T) {
	t.Parallel()
	from, to := t.TempDir(), filepath.Join(t.TempDir(), "copy")
	require.NoError(t, os.MkdirAll(filepath.Join(from, "a", "b"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(from, "a", "b", "c"), []byte("deep"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(from, "d"), []byte("flat"), 0o600))
	require.NoError(t, disk.CopyAll(from, to))
	for name, want := range map[string]string{filepath.Join("a", "b", "c"): "deep", "d": "flat"} {
		content, err := os.ReadFile(filepath.Join(to, name))
		require.NoError(t, err)
		assert.Equal(t, want, string(content))
	}
	require.ErrorIs(t, disk.CopyAll(from, to), fs.ErrExist)
	require.NoError(t, disk.SyncFolder(to))
	assert.ErrorIs(t, disk.SyncFolder(filepath.Join(to, "nowhere")), fs.ErrNotExist)
}

// link makes a symbolic link where everybody may, which on Windows hangs on a setting.
func link(t *testing.T, to, path string) {
	t.Helper()
	err := os.Symlink(to, path)
	if runtime.GOOS == "windows" && err != nil {
		t.Skip("Windows lets not everybody make links:", err)
	}
	require.NoError(t, err)
}

// A folder may lie on another disk, with a link in its place.
func TestCopyAllFollowsALinkToTheFolder(t *testing.T) {
	t.Parallel()
	elsewhere, photos := t.TempDir(), filepath.Join(t.TempDir(), "photos")
	require.NoError(t, os.Mkdir(filepath.Join(elsewhere, "a"), 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(elsewhere, "a", "b"), []byte("there"), 0o600))
	link(t, elsewhere, photos)
	to := filepath.Join(t.TempDir(), "made", "copy")
	require.NoError(t, disk.CopyAll(photos, to))
	content, err := os.ReadFile(filepath.Join(to, "a", "b"))
	require.NoError(t, err)
	assert.Equal(t, "there", string(content))
	require.ErrorIs(t, disk.CopyAll(filepath.Join(elsewhere, "gone"), to), fs.ErrNotExist)
}

// A file in it may be a link too: what it leads to is copied, and a link that leads
// nowhere, or to a folder, is no silent gap.
func TestCopyAllFollowsLinksToFiles(t *testing.T) {
	t.Parallel()
	from, elsewhere := t.TempDir(), filepath.Join(t.TempDir(), "key")
	require.NoError(t, os.WriteFile(elsewhere, []byte("secret"), 0o600))
	link(t, elsewhere, filepath.Join(from, "links.key"))
	to := filepath.Join(t.TempDir(), "copy")
	require.NoError(t, disk.CopyAll(from, to))
	info, err := os.Lstat(filepath.Join(to, "links.key"))
	require.NoError(t, err)
	assert.True(t, info.Mode().IsRegular())
	content, err := os.ReadFile(filepath.Join(to, "links.key"))
	require.NoError(t, err)
	assert.Equal(t, "secret", string(content))
	for name, leads := range map[string]string{"gone": elsewhere + "-not", "folder": t.TempDir()} {
		path := filepath.Join(from, name)
		link(t, leads, path)
		assert.ErrorContains(t, disk.CopyAll(from, filepath.Join(t.TempDir(), "copy")), path)
		require.NoError(t, os.Remove(path))
	}
}

func TestCopyMissingLeavesWhatIsThere(t *testing.T) {
	t.Parallel()
	from, to := t.TempDir(), t.TempDir()
	for _, name := range []string{"a", "b"} {
		require.NoError(t, os.WriteFile(filepath.Join(from, name), []byte("new"), 0o600))
	}
	require.NoError(t, os.WriteFile(filepath.Join(to, "a"), []byte("old"), 0o600))
	require.NoError(t, disk.CopyMissing(from, to))
	for name, want := range map[string]string{"a": "old", "b": "new"} {
		content, err := os.ReadFile(filepath.Join(to, name))
		require.NoError(t, err)
		assert.Equal(t, want, string(content))
	}
}

// What is passed through on the disk has no name there, so that a kill leaves
// nothing of it.
func TestScratchLeavesNothing(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	t.Setenv("TMP", folder)
	scratch, err := disk.NewScratch()
	require.NoError(t, err)
	_, err = scratch.WriteString("a photo of somebody's living room")
	require.NoError(t, err)
	left := func() int {
		files, err := os.ReadDir(folder)
		require.NoError(t, err)
		return len(files)
	}
	if runtime.GOOS != "windows" {
		assert.Zero(t, left())
	}
	_, err = scratch.Seek(0, io.SeekStart)
	require.NoError(t, err)
	content, err := io.ReadAll(scratch)
	require.NoError(t, err)
	assert.Equal(t, "a photo of somebody's living room", string(content))
	require.NoError(t, scratch.Close())
	assert.Zero(t, left())
}
