// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package drawing_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/drawing"
	"fillmark/loops"
)

// A new charge begins with a fill, and with another cooler.
func TestLifeMarksEveryNewCharge(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: 3, Dom: 1}
	read := func(after int, die chemistry.Celsius) loops.Entry {
		return loops.Entry{Kind: loops.KindInspection, Day: day.AddDays(after), Inspection: &loops.Inspection{
			Die: &die, Room: new(chemistry.Celsius(22)), PowerW: new(100.0), Steady: true,
		}}
	}
	history := []loops.Entry{
		read(0, 60), {Kind: loops.KindFill, Day: day.AddDays(10), Fill: &loops.Fill{}}, {Kind: loops.KindSwap, Day: day.AddDays(20), Swap: &loops.Swap{}}, read(30, 70),
	}
	for i := range history {
		history[i].ID = loops.EntryID(i + 1)
	}
	plots := drawing.LifePlots(history, drawing.LifeRows(history))
	require.NotEmpty(t, plots)
	for _, p := range plots {
		assert.Len(t, p.Fills, 2, p.Heading)
	}
}
