// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

// What a page enters at once stands as one: one revision, one line of the
// audit, each entry judged by what those before it left.
func TestEntriesAreRecordedAllOrNone(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	stamp := at("2026-03-02 10")
	loop := b.handedOver(t, "", stamp)
	bottle, err := b.AddContainer(stamp, loops.Container{Kind: loops.PremixBottle, Product: "ready", Fluid: "pg", Mass: new(chemistry.MassFraction(0.4)), Left: 0.1})
	require.NoError(t, err)
	pour := func(volume chemistry.Litre) loops.Entry {
		return already(loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Container: bottle.ID, Volume: volume}}}})
	}
	drain := loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{Out: 0.45, Disposal: "drum"}}
	handover := givenBack(loops.Day{}, true)

	for name, entries := range map[string][]loops.Entry{
		"the last is impossible":                {{Kind: loops.KindFlush}, {Kind: loops.KindStep, Step: &loops.StepDone{Step: "no such step"}}},
		"more than the bottle holds, in two":    {pour(0.06), pour(0.06)},
		"no charge after the drain before it":   {drain, pour(0.02)},
		"a hand-over after the drain before it": {drain, handover},
		"a transfer among others":               {{Kind: loops.KindFlush}, {Kind: loops.KindTransfer, Transfer: &loops.Transfer{To: 1}}},
		"none":                                  nil,
	} {
		_, err := b.Do(stamp, loop.Tag, entries...)
		require.Error(t, err, name)
		after, err := b.store.LoopByTag(loop.Tag)
		require.NoError(t, err)
		assert.Equal(t, loop.LastEntry, after.LastEntry, name)
		assert.Equal(t, loop.Revision, after.Revision, name)
	}
	used, err := b.UsedFluid(0)
	require.NoError(t, err)
	assert.Empty(t, used)

	recorded, err := b.Do(stamp, loop.Tag, pour(0.06), loops.Entry{Kind: loops.KindFlush}, pour(0.03))
	require.NoError(t, err)
	assert.Equal(t, loop.LastEntry+3, recorded.Loop.LastEntry)
	assert.Equal(t, loop.Revision+1, recorded.Loop.Revision)
	bottle, err = b.Container(bottle.ID)
	require.NoError(t, err)
	assert.InDelta(t, 0.01, float64(bottle.Left), 1e-9)
	assert.Len(t, bottle.Uses, 2)
}
