// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"testing"

	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
)

// The tree is one that a person can learn: it must not grow unseen. The bounds
// are what it has; a command more is a reason to look for two that are one.
func TestTheTreeCanBeLearnt(t *testing.T) {
	t.Parallel()
	commands, flags := 0, map[string]bool{}
	for leaf := range leaves((&app{now: testNow}).rootCommand()) {
		commands++
		leaf.Flags().VisitAll(func(f *pflag.Flag) {
			if !f.Hidden {
				flags[f.Name] = true
			}
		})
	}
	assert.LessOrEqual(t, commands, 106, "commands")
	assert.LessOrEqual(t, len(flags), 261, "names of flags")
}
