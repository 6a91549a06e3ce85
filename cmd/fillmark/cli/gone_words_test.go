// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Who types a command that is gone is told the one that took its place.
func TestCommandsThatAreGoneLeadOn(t *testing.T) {
	t.Parallel()
	for _, gone := range [][3]string{
		{"loop", "history", "show"}, {"loop", "copy", "add"}, {"loop", "steps", "step"}, {"loop", "topup", "poured"},
		{"outbox", "letter", "show"}, {"outbox", "suppressed", "allow"},
	} {
		code, _, errOut := runHere(t, t.TempDir(), gone[0], gone[1])
		assert.Equal(t, exitUsage, code, gone)
		assert.Contains(t, errOut, "is it "+gone[2]+"?", gone)
	}
}
