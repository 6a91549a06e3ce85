// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
)

// bbolt's own command, built from the module that go.mod names, finds nothing
// wrong with a file that has been written to, compacted and copied.
func TestBboltCheckCommand(t *testing.T) {
	t.Parallel()
	tool := filepath.Join(t.TempDir(), "bbolt")
	if out, err := exec.Command(peer.Program(t, "go"), "build", "-o", tool, "go.etcd.io/bbolt/cmd/bbolt").CombinedOutput(); err != nil {
		peer.Missing(t, "bbolt's command", fmt.Errorf("%w: %s", err, out))
	}
	s := open(t)
	everything(t, s)
	_, _, err := s.Compact(t.Context())
	require.NoError(t, err)
	require.NoError(t, s.Commit(workshop(t, s)))
	copied := s.Path() + ".backup"
	require.NoError(t, s.Backup(t.Context(), copied))
	for _, path := range []string{copied, closedCopy(t, s)} {
		out, err := exec.Command(tool, "check", path).CombinedOutput()
		require.NoError(t, err, "%s", out)
		require.Equal(t, "OK\n", string(out))
	}
}
