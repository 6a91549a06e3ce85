// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package peer finds what tests of several packages check against: programs of
// the outside. Where one is missing the test says so and skips; in CI, where
// all of them are installed, it fails.
package peer

import (
	"os"
	"os/exec"
	"strings"
	"testing"
)

// Program is the path of a program that the test needs, given by its name or
// its whole path.
func Program(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		Missing(t, name, err)
	}
	return path
}

// Answering is the path of a program that succeeds with the arguments: one that
// has the modules that the test needs.
func Answering(t testing.TB, path string, args ...string) string {
	t.Helper()
	if err := exec.CommandContext(t.Context(), path, args...).Run(); err != nil {
		Missing(t, path+" "+strings.Join(args, " "), err)
	}
	return path
}

// File is the path of a file that the test needs and no program of its own.
func File(t testing.TB, path string) string {
	t.Helper()
	if _, err := os.Stat(path); err != nil {
		Missing(t, path, err)
	}
	return path
}

// Missing ends a test for which something is not there, and says why.
func Missing(t testing.TB, what string, why error) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("%s is not installed, and must be in CI: %v", what, why)
	}
	t.Skipf("%s is not installed, so nothing is compared with it: %v", what, why)
}
