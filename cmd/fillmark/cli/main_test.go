// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"os"
	"testing"

	"fillmark/loops/photos"
)

// The tests' program is its own photo cell, as Fillmark is.
func TestMain(m *testing.M) {
	if photos.InCell(os.Environ()) {
		os.Exit(photos.Serve(os.Stdin, os.Stdout))
	}
	os.Exit(m.Run())
}
