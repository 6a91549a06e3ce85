// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

func TestEvidence(t *testing.T) {
	t.Parallel()
	testEvidence(t, files)
}

func testEvidence(t *testing.T, fresh place) {
	s := fresh.open(t)
	none, err := s.Evidence()
	require.NoError(t, err)
	assert.Zero(t, none)

	first := loops.Evidence{Version: 1, Made: noon, Ages: []loops.EvidenceAge{{Origin: loops.WorkshopFill, Months: 8.5, Text: "3 of 20 clogged", Lives: 20, Failures: 3, LoopMonths: 190.25}}}
	second := loops.Evidence{Version: 2, Made: noon}
	require.ErrorIs(t, s.PutEvidence(second, "test"), loops.ErrConflict)
	require.NoError(t, s.PutEvidence(first, "test"))
	require.ErrorIs(t, s.PutEvidence(first, "test"), loops.ErrConflict)
	require.NoError(t, s.PutEvidence(second, "test"))
	newest, err := s.Evidence()
	require.NoError(t, err)
	assert.Equal(t, second, newest)
	var versions []loops.Evidence
	for e, err := range s.Evidences() {
		require.NoError(t, err)
		versions = append(versions, e)
	}
	assert.Equal(t, []loops.Evidence{second, first}, versions)

	watch := loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium", Registered: loops.DayOf(noon, noon.Location()), ReadAt: 5, By: "test", Why: "three in a row"}
	added, err := s.AddWatch(watch, noon)
	require.NoError(t, err)
	assert.Equal(t, loops.WatchID(1), added.ID)
	_, err = s.AddWatch(watch, noon)
	require.NoError(t, err)
	sound(t, s)

	path := fresh(t)
	text := exportOf(t, s)
	require.NoError(t, store.Import(t.Context(), path, bytes.NewReader(text)))
	again, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, again.Close()) })
	assert.Equal(t, string(text), string(exportOf(t, again)))
	n := 0
	for w, err := range again.Watches() {
		require.NoError(t, err)
		n++
		assert.Equal(t, "three in a row", w.Why)
	}
	assert.Equal(t, 2, n)
}

// A reading is kept with its cases and survives the file; a second one changes
// nothing, and neither does one of a watch that is not there.
func TestReadWatchOnce(t *testing.T) {
	t.Parallel()
	testReadWatchOnce(t, files)
}

func testReadWatchOnce(t *testing.T, fresh place) {
	path, day := fresh(t), loops.DayOf(noon, noon.Location())
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	watch, err := s.AddWatch(loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium", Registered: day, ReadAt: 2, By: "rui"}, noon)
	require.NoError(t, err)
	reading := loops.WatchReading{
		Day: day.AddDays(40), FailedWith: 2, GoodWithout: 1, Expected: 1.25, P: new(0.4), Sentence: "two of three",
		Cases: []loops.WatchCase{{Tag: "K7M4QX", With: true, Entered: 3.5, Good: 4, Failed: new(4.5)}},
	}
	require.NoError(t, s.ReadWatch(watch.ID, reading, "rui", noon))
	require.ErrorIs(t, s.ReadWatch(watch.ID, loops.WatchReading{Day: day, Sentence: "another"}, "ana", noon), loops.ErrConflict)
	require.ErrorIs(t, s.ReadWatch(watch.ID+1, reading, "rui", noon), loops.ErrNotFound)
	require.NoError(t, s.Close())

	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	for kept, err := range s.Watches() {
		require.NoError(t, err)
		require.NotNil(t, kept.Reading)
		assert.Equal(t, reading, *kept.Reading)
	}
}
