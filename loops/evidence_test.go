// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func TestEvidenceFollows(t *testing.T) {
	t.Parallel()
	at := loops.Day{Year: 2026, Month: time.March, Dom: 2}.At(9, time.UTC)
	e := loops.Evidence{Notices: []loops.EvidenceNotice{{Cause: loops.CauseClog, Text: "3 of 5"}}}
	first := e.Follow(loops.Evidence{}, at)
	assert.Equal(t, uint64(1), first.Version)
	assert.Equal(t, uint64(2), e.Follow(first, at).Version)
	assert.True(t, e.Same(first))
	assert.False(t, e.Same(loops.Evidence{}))
	old := first
	old.Ages = []loops.EvidenceAge{{Origin: loops.WorkshopFill, Months: 9}}
	assert.False(t, e.Same(old), "a version that moved plans is replaced")
}

func TestPatternWatchRefuses(t *testing.T) {
	t.Parallel()
	good := loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium", Registered: loops.Day{Year: 2026, Month: 3, Dom: 2}, By: "test"}
	require.NoError(t, good.Validate())
	for field, change := range map[string]func(*loops.PatternWatch){
		"cause": func(w *loops.PatternWatch) { w.Cause = "bad luck" }, "trait": func(w *loops.PatternWatch) { w.Trait = " " },
		"registered": func(w *loops.PatternWatch) { w.Registered = loops.Day{} }, "read at": func(w *loops.PatternWatch) { w.ReadAt = -1 },
		"by": func(w *loops.PatternWatch) { w.By = "" }, "why": func(w *loops.PatternWatch) { w.Why = "\n" },
	} {
		bad := good
		change(&bad)
		require.ErrorContains(t, bad.Validate(), field)
	}
}
