// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
)

var update = flag.Bool("update", false, "write doc/acts.md again")

// The reference in doc/ says what the definitions say.
func TestReferenceIsOfTheDefinitions(t *testing.T) {
	t.Parallel()
	path := filepath.Join("..", "..", "..", "doc", "acts.md")
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(acts.Reference()), 0o644))
	}
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, acts.Reference(), string(kept), "fillmark docs acts > doc/acts.md")
}
