// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
	"fillmark/testdata/peer"
)

// copyTo copies files of one folder to another.
func copyTo(t *testing.T, from, to Config, names ...string) {
	t.Helper()
	for _, name := range names {
		content, err := os.ReadFile(filepath.Join(from.Folder, name))
		require.NoError(t, err)
		path := filepath.Join(to.Folder, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
		require.NoError(t, os.WriteFile(path, content, 0o600))
	}
}

// A daemon whose folder has other keys or photos than those before it does not
// start, and says what is to be brought there.
func TestADaemonWithOtherKeysOrPhotosIsRefused(t *testing.T) {
	t.Parallel()
	address := peer.StartPostgres(t).Address("")
	first, second := benchOn(t, address), benchOn(t, address)
	starts := func(c Config) error {
		h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
		if err != nil {
			return err
		}
		return h.Close()
	}
	require.NoError(t, starts(first))
	require.ErrorContains(t, starts(second), "keys/links.key of their folder, copied to this one")
	assert.NoFileExists(t, second.linkKeyFile(), "none is made that would be wrong")
	copyTo(t, first, second, "keys/links.key")
	require.ErrorContains(t, starts(second), "one folder for all of them")
	require.NoError(t, os.RemoveAll(string(second.photos())))
	require.NoError(t, os.Symlink(string(first.photos()), string(second.photos())))
	require.NoError(t, starts(second))

	// One has a newer secret in front: it may, and the other is told.
	secrets, err := os.ReadFile(first.linkKeyFile())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(first.linkKeyFile(), slices.Concat(make([]byte, 32), secrets), 0o600))
	require.NoError(t, starts(first))
	require.ErrorContains(t, starts(second), "keys/links.key")
	copyTo(t, first, second, "keys/links.key")
	require.NoError(t, starts(second))

	// The same with keys that sign.
	key := first.Keys().First()
	require.NoError(t, key.Write())
	require.NoError(t, starts(first))
	require.ErrorContains(t, starts(second), "the DKIM keys of their folder")
	copyTo(t, first, second, "keys/"+filepath.Base(key.File))
	require.NoError(t, starts(second))
	next, err := first.Keys().Next()
	require.NoError(t, err)
	require.NoError(t, next.Write())
	require.NoError(t, starts(first), "what does not sign yet is nobody's concern")
	require.NoError(t, starts(second))
	require.NoError(t, os.Rename(next.File, next.File[:len(next.File)-len(notify.NextSuffix)]))
	require.NoError(t, starts(first))
	require.ErrorContains(t, starts(second), "the DKIM keys of their folder")

	// What is lost is forgotten by hand, as doc/operations.md has it.
	conn, err := pgx.Connect(t.Context(), address)
	require.NoError(t, err)
	_, err = conn.Exec(t.Context(), "DELETE FROM fillmark WHERE bucket = 'meta' AND key = 'same DKIM key'")
	require.NoError(t, err)
	require.NoError(t, conn.Close(t.Context()))
	require.NoError(t, starts(second))

	h := opened(t, second, testNow)
	report, err := h.Store.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
}
