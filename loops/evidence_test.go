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
	day := loops.Day{Year: 2026, Month: time.March, Dom: 2}
	at := day.At(9, time.UTC)
	age := func(months float64, failures int) loops.Evidence {
		return loops.Evidence{Ages: []loops.EvidenceAge{{Origin: loops.WorkshopFill, Months: months, Failures: failures, Text: "figures"}}}
	}
	first := age(9, 1).Follow(loops.Evidence{}, at, day)
	assert.Equal(t, uint64(1), first.Version)
	assert.Equal(t, day, first.Ages[0].Since)

	little := age(8.7, 2)
	second := little.Follow(first, at.AddDate(0, 1, 0), day.AddMonths(1))
	assert.Equal(t, day, second.Ages[0].Since, "about as short as before: known since then")
	third := age(6, 3).Follow(second, at.AddDate(0, 2, 0), day.AddMonths(2))
	assert.Equal(t, day.AddMonths(2), third.Ages[0].Since, "this much shorter is news")
	longer := age(11, 3).Follow(third, at.AddDate(0, 3, 0), day.AddMonths(3))
	assert.Equal(t, day.AddMonths(2), longer.Ages[0].Since)
	assert.Equal(t, uint64(4), longer.Version)
}

func TestEvidenceSame(t *testing.T) {
	t.Parallel()
	e := loops.Evidence{Version: 1, Ages: []loops.EvidenceAge{{Origin: loops.WorkshopFill, Months: 9, Failures: 3, Lives: 20, LoopMonths: 190, Text: "3 of 20"}}}
	moved := e
	moved.Ages = []loops.EvidenceAge{{Origin: loops.WorkshopFill, Months: 9.05, Failures: 3, Lives: 21, LoopMonths: 199, Text: "3 of 21"}}
	assert.True(t, e.Same(moved), "another measurement is no reason to plan anew")
	moved.Ages = []loops.EvidenceAge{{Origin: loops.WorkshopFill, Months: 9.05, Failures: 4}}
	assert.False(t, e.Same(moved))
	moved = e
	moved.Notices = []loops.EvidenceNotice{{Cause: loops.CauseClog, Text: "3 of 5"}}
	assert.False(t, e.Same(moved))
	assert.False(t, e.Same(loops.Evidence{}))
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
