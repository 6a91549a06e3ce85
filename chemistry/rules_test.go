// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
)

// TestRulesTable: ids are unique, and every rule says its condition, its verdict, its text, its source and its grade.
func TestRulesTable(t *testing.T) {
	t.Parallel()
	seen := make(map[string]bool)
	for _, r := range chemistry.Rules() {
		assert.False(t, seen[r.ID], "%s twice", r.ID)
		seen[r.ID] = true
		assert.NotEmpty(t, r.When, r.ID)
		assert.NotEmpty(t, r.Text, r.ID)
		assert.NotEmpty(t, r.Source, r.ID)
		assert.Contains(t, []chemistry.Verdict{chemistry.Go, chemistry.Care, chemistry.Stop}, r.Verdict, r.ID)
		assert.NotEqual(t, string(r.Grade), r.Grade.Name(), "%s: unknown grade", r.ID)
		if r.Grade == chemistry.FromMemory {
			assert.NotEqual(t, chemistry.Stop, r.Verdict, "%s: from memory is never a stop", r.ID)
		}
	}
}

// TestMemoryNeverMakesAGo: what stands on memory alone raises to care, never to a stop, and never lowers.
func TestMemoryNeverMakesAGo(t *testing.T) {
	t.Parallel()
	recalled := func(v chemistry.Verdict) chemistry.Reason {
		return chemistry.Reason{Verdict: v, Grade: chemistry.FromMemory}
	}
	assert.Equal(t, chemistry.Care, chemistry.Judge([]chemistry.Reason{recalled(chemistry.Stop)}))
	assert.Equal(t, chemistry.Care, chemistry.Judge([]chemistry.Reason{recalled(chemistry.Care)}))
	stop := chemistry.Reason{Verdict: chemistry.Stop, Grade: chemistry.Practice}
	assert.Equal(t, chemistry.Stop, chemistry.Judge([]chemistry.Reason{stop, recalled(chemistry.Go)}))
}
