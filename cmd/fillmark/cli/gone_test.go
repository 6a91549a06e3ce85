// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A register is removed under the daemon: commands are refused with the way
// back, and on that way nothing is lost that was acknowledged.
func TestARegisterRemovedUnderTheDaemonComesBack(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	_, stop := startDaemon(t, folder)
	must(t, folder, "owner", "add", "--name", "Ana Ruizado")
	require.NoError(t, os.Remove(filepath.Join(folder, "register.db")))
	code, out, errOut := runHere(t, folder, "owner", "add", "--name", "Bo Harbour")
	assert.Equal(t, exitFailed, code)
	assert.Empty(t, out)
	assert.Contains(t, errOut, "removed or replaced")
	assert.Contains(t, errOut, "fillmark backup --to FOLDER")
	_, out, _ = runHere(t, folder, "due")
	assert.Equal(t, 1, strings.Count(out, "Nothing can be recorded"), "it is told once: %s", out)
	kept := filepath.Join(folder, "kept")
	must(t, folder, "backup", "--to", kept)
	assert.Zero(t, stop())
	require.NoError(t, os.Rename(filepath.Join(folder, "keys"), filepath.Join(folder, "keys.old")))
	must(t, folder, "restore", kept)
	out = must(t, folder, "owner", "list")
	assert.Contains(t, out, "Ana Ruizado")
	assert.NotContains(t, out, "Bo Harbour")
}
