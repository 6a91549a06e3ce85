// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package backups_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/backups"
)

var night = time.Date(2026, 12, 3, 1, 30, 0, 0, time.UTC)

// backup makes a folder that looks like one.
func backup(t *testing.T, in string, at time.Time) backups.Made {
	t.Helper()
	m, ok := backups.Read(filepath.Join(in, backups.Name(at)))
	require.True(t, ok)
	for name, text := range map[string]string{backups.Register: "register of " + m.Path, "keys/links.key": "secret", "photos/ab.jpg": "picture"} {
		path := filepath.Join(m.Path, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
	}
	return m
}

func TestNamesSayWhen(t *testing.T) {
	for name, sealed := range map[string]bool{"fillmark-2026-12-03T01-30-00Z": false, "fillmark-2026-12-03T01-30-00Z.tar.age": true} {
		m, ok := backups.Read("/mnt/" + name)
		assert.True(t, ok, name)
		assert.Equal(t, backups.Made{Path: "/mnt/" + name, At: night, Sealed: sealed}, m)
	}
	for _, name := range []string{"", "fillmark-2026-12-03", "fillmark-2026-12-03T01-30-00Z.part-1", "holiday", "fillmark-2026-13-03T01-30-00Z"} {
		_, ok := backups.Read(name)
		assert.False(t, ok, name)
	}
}

// Rotation takes what no rule keeps and nothing else that lies in the folder.
func TestRotateRemovesOnlyBackups(t *testing.T) {
	folder := t.TempDir()
	for days := range 5 {
		backup(t, folder, night.AddDate(0, 0, -days))
	}
	for _, other := range []string{"fillmark-2026-12-03", "holiday.jpg", "fillmark-2026-11-01T01-30-00Z"} { // the last is a file, and no backup is
		require.NoError(t, os.WriteFile(filepath.Join(folder, other), []byte("mine"), 0o600))
	}
	gone, err := backups.Folder(folder).Rotate(backups.Keep{Days: 3}, night, time.UTC)
	require.NoError(t, err)
	require.Len(t, gone, 2)
	assert.Equal(t, night.AddDate(0, 0, -4), gone[0].At, "the oldest first")
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Len(t, left, 3+3)

	// A clock that was ahead once makes a name for a time to come: what is real
	// must not go for it.
	backup(t, folder, night.AddDate(1, 0, 0))
	_, err = backups.Folder(folder).Rotate(backups.Keep{Days: 1}, night, time.UTC)
	require.ErrorContains(t, err, "look at the clock")
	all, err := backups.Folder(folder).List()
	require.NoError(t, err)
	assert.Len(t, all, 4)
}

func TestTidyRemovesWhatWasCutOff(t *testing.T) {
	folder := t.TempDir()
	whole := backup(t, folder, night)
	part, err := backups.Folder(folder).Part(night)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(part, backups.Register), []byte("half"), 0o600))
	require.NoError(t, os.WriteFile(whole.Path+backups.SealedEnding+backups.Unfinished, []byte("half"), 0o600))
	mine := filepath.Join(folder, "music.part-1")
	require.NoError(t, os.Mkdir(mine, 0o700))
	require.NoError(t, backups.Folder(folder).Tidy())
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, left, 2)
	assert.Equal(t, filepath.Base(whole.Path), left[0].Name())
	assert.Equal(t, "music.part-1", left[1].Name())
}

func TestPutCopiesAll(t *testing.T) {
	from, to := t.TempDir(), t.TempDir()
	m := backup(t, from, night)
	put, err := backups.Folder(to).Put(m)
	require.NoError(t, err)
	for _, name := range []string{backups.Register, "keys/links.key", "photos/ab.jpg"} {
		want, err := os.ReadFile(filepath.Join(m.Path, name))
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(put.Path, name))
		require.NoError(t, err)
		assert.Equal(t, want, got, name)
	}
	_, err = backups.Folder(to).Put(m)
	require.ErrorIs(t, err, os.ErrExist)
	_, err = backups.Folder(filepath.Join(to, "not plugged in")).Put(m)
	require.Error(t, err)
	assert.NoDirExists(t, filepath.Join(to, "not plugged in", filepath.Base(m.Path)))
}

// Sealed and opened again it is the same; nothing of it can be read in between,
// another's identity does not open it, and a changed byte is noticed.
func TestSealAndUnseal(t *testing.T) {
	folder := t.TempDir()
	m := backup(t, folder, night)
	identity, other := filepath.Join(folder, "identity"), filepath.Join(folder, "other")
	text, err := backups.NewIdentity(identity)
	require.NoError(t, err)
	_, err = backups.NewIdentity(identity)
	require.ErrorIs(t, err, os.ErrExist)
	_, err = backups.NewIdentity(other)
	require.NoError(t, err)
	info, err := os.Stat(identity)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	recipient, err := backups.Recipient(text)
	require.NoError(t, err)
	for _, wrong := range []string{"", "age1", "# nobody", text + "\n" + text, "ssh-ed25519 AAAA"} {
		_, err := backups.Recipient(wrong)
		assert.Error(t, err, wrong)
	}

	file := m.Path + backups.SealedEnding
	require.NoError(t, backups.Seal(m.Path, file, recipient))
	require.NoError(t, backups.LooksSealed(file))
	raw, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.NotContains(t, string(raw), "register of")
	back := filepath.Join(folder, "back")
	require.NoError(t, backups.Unseal(file, back, identity))
	for _, name := range []string{backups.Register, "keys/links.key", "photos/ab.jpg"} {
		want, err := os.ReadFile(filepath.Join(m.Path, name))
		require.NoError(t, err)
		got, err := os.ReadFile(filepath.Join(back, name))
		require.NoError(t, err)
		assert.Equal(t, want, got, name)
	}
	assert.ErrorContains(t, backups.Unseal(file, filepath.Join(folder, "no"), other), "cannot be opened")
	raw[len(raw)-1] ^= 1
	require.NoError(t, os.WriteFile(file+".bad", raw, 0o600))
	assert.Error(t, backups.Unseal(file+".bad", filepath.Join(folder, "no"), identity))
	require.NoError(t, os.WriteFile(file+".none", []byte("not one"), 0o600))
	assert.ErrorContains(t, backups.LooksSealed(file+".none"), "no file of age")
}

// What somebody else packed cannot write outside the folder.
func TestUnsealTakesOnlyABackup(t *testing.T) {
	for _, name := range []string{"elsewhere.db", "keys/.."} {
		folder := t.TempDir()
		identity, err := age.GenerateX25519Identity()
		require.NoError(t, err)
		keys := filepath.Join(folder, "identity")
		require.NoError(t, os.WriteFile(keys, []byte(identity.String()), 0o600))
		file := filepath.Join(folder, "x")
		require.NoError(t, packed(file, name, identity.Recipient()))
		assert.ErrorContains(t, backups.Unseal(file, filepath.Join(folder, "to"), keys), "no part of a backup", name)
	}
}
