// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos_test

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
)

// groupLimit is the memory of the small group, in bytes.
const groupLimit = 300 << 20

// smallGroup makes a group of processes that may have so much memory together,
// or skips and says why there is none. It returns the folder and the file that
// counts processes which were killed for want of memory.
func smallGroup(t *testing.T) (folder, killed string) {
	t.Helper()
	if os.Getuid() != 0 {
		t.Skip("only root makes control groups")
	}
	limit := "memory.max"
	folder, killed = "/sys/fs/cgroup", "memory.events"
	if _, err := os.Stat(filepath.Join(folder, "memory", "memory.limit_in_bytes")); err == nil {
		folder, limit, killed = filepath.Join(folder, "memory"), "memory.limit_in_bytes", "memory.oom_control" // version 1
	}
	folder = filepath.Join(folder, fmt.Sprintf("fillmark-test-%d", os.Getpid()))
	if err := os.Mkdir(folder, 0o755); err != nil {
		peer.Missing(t, "a control group", err)
	}
	t.Cleanup(func() { assert.NoError(t, os.Remove(folder)) })
	if err := os.WriteFile(filepath.Join(folder, limit), fmt.Append(nil, groupLimit), 0o600); err != nil {
		peer.Missing(t, "a control group with a bound on memory", err)
	}
	return folder, filepath.Join(folder, killed)
}

// A server with 300 MB has room for the process that asks and its cell,
// whatever is sent: nothing is killed, and the process keeps its memory.
func TestCampaignCellInASmallServer(t *testing.T) {
	if os.Getenv("FILLMARK_CAMPAIGN") != "full" {
		t.Skip("takes half a minute: FILLMARK_CAMPAIGN=full")
	}
	folder, killed := smallGroup(t)
	child := exec.CommandContext(t.Context(), "/bin/sh", "-c", `echo $$ >"$1"/cgroup.procs && shift && exec "$@"`, "sh", folder,
		os.Args[0], "-test.run", "^TestCampaignCellKeepsMemory$", "-test.v", "-test.count", "1")
	said, err := child.CombinedOutput()
	t.Logf("%s", said)
	require.NoError(t, err)
	assert.Contains(t, string(said), "--- PASS: TestCampaignCellKeepsMemory")
	events, err := os.ReadFile(killed)
	require.NoError(t, err)
	assert.Contains(t, strings.Split(string(events), "\n"), "oom_kill 0")
}
