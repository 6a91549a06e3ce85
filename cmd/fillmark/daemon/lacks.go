// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import "slices"

// lacks says what a system (GOOS) does not give and what happens instead. The
// table in doc/operations.md says the same, which a test compares.
func lacks(system string) []string {
	var lines []string
	if !slices.Contains([]string{"linux", "darwin", "freebsd"}, system) {
		lines = append(lines, "who sends a command is not told: the history reads local:unknown")
	}
	if system == "windows" {
		lines = append(lines,
			"file modes do nothing: who may read is what the folder's rights say, so keep the register in a folder of its user's",
			"a folder cannot be synced: after a loss of power a new file's name may be missing")
	}
	return lines
}
