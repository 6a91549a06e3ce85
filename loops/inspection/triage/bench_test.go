// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"fillmark/loops/inspection/triage"
)

// An answer is to take at most 5 ms; doc/triage.md has what was measured.
func BenchmarkJudge(b *testing.B) {
	seen := machine(true, 92, 22, 100, "clock=throttled tubes=both-cool")
	for b.Loop() {
		_, err := triage.Judge(seen)
		require.NoError(b, err)
	}
}
