// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/loops"
)

func TestSourceForOwner(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name   string
		clause loops.Clause
		want   string
	}{
		{"nothing published", loops.Clause{Kind: loops.ByInterval, Source: "common practice, no source; the label decides "}, "common practice in the trade; the label decides"},
		{"statistics", loops.Clause{Kind: loops.ByEvidence, Source: "opened loops on record, workshop charges"}, "what we found in the machines that we opened"},
		{"published", loops.Clause{Kind: loops.BySeason, Source: "a handbook, p. 42"}, "a handbook, p. 42"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, tt.want, tt.clause.SourceForOwner())
		})
	}
}
