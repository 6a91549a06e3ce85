// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func work(id loops.EntryID, x loops.Work) loops.Entry {
	return loops.Entry{ID: id, Day: loops.Day{Year: 2026, Month: 11, Dom: 28}, By: "test", Kind: loops.KindWork, Work: &x}
}

func TestABillAddsUpWhatIsCharged(t *testing.T) {
	t.Parallel()
	fan, hour := loops.Price(24_50), loops.Price(60_00)
	entries := []loops.Entry{
		work(1, loops.Work{Item: "fan", Pieces: 2, Price: &fan}),
		{ID: 2, Day: day(t, "2026-11-28"), By: "test", Kind: loops.KindFlush},
		work(3, loops.Work{Item: "cleaned the plate", Minutes: 40, Price: &hour, Covered: true}),
		work(4, loops.Work{Item: "filled", Minutes: 20}),
	}
	b := loops.BillOf(entries)
	require.Len(t, b.Lines, 3)
	assert.Equal(t, loops.EntryID(3), b.Lines[1].Entry)
	assert.Equal(t, 60, b.Minutes)
	assert.Equal(t, "24.50", b.Sum.String(), "what we stand for ourselves is not charged")
	assert.Equal(t, 1, b.Unpriced)
	assert.Nil(t, loops.BillOf(entries[3:]).Sum, "no price is not a price of nothing")
	assert.Empty(t, loops.BillOf(nil).Lines)
}

func TestALineOfABillSaysSomething(t *testing.T) {
	t.Parallel()
	low, high := loops.Price(-1), loops.MostPrice+1
	for name, x := range map[string]loops.Work{
		"no figure": {Item: "fan"}, "no words": {Minutes: 5}, "fewer than none": {Item: "fan", Pieces: -1}, "a week": {Item: "fan", Minutes: 10_001},
		"less than nothing": {Item: "fan", Price: &low}, "too much": {Item: "fan", Price: &high},
	} {
		require.Error(t, work(1, x).Validate(), name)
	}
	nothing := loops.Price(0)
	e := work(1, loops.Work{Item: "for Ana's sake", Price: &nothing})
	require.NoError(t, e.Validate())
	assert.Equal(t, loops.ErasedText, e.Erased().Work.Item)
	assert.Equal(t, &nothing, e.Erased().Work.Price)
	assert.Equal(t, "for Ana's sake", e.Work.Item)
}

func TestOwnWarrantyIsTheLatestPromised(t *testing.T) {
	t.Parallel()
	back := func(id loops.EntryID, on string, months int) loops.Entry {
		t.Helper()
		return loops.Entry{ID: id, Day: day(t, on), By: "test", Kind: loops.KindHandover, Handover: &loops.Handover{WarrantyMonths: months}}
	}
	assert.Equal(t, day(t, "2026-09-15"), loops.OwnWarranty([]loops.Entry{back(1, "2026-03-15", 6)}))
	for _, later := range []int{0, 1} { // takes nothing back
		assert.Equal(t, day(t, "2026-09-15"), loops.OwnWarranty([]loops.Entry{back(1, "2026-03-15", 6), back(2, "2026-05-15", later)}))
	}
	assert.Equal(t, day(t, "2026-11-15"), loops.OwnWarranty([]loops.Entry{back(1, "2026-03-15", 6), back(2, "2026-05-15", 6)}))
	assert.True(t, loops.OwnWarranty(nil).IsZero())
	require.Error(t, back(1, "2026-03-15", 121).Validate())
}
