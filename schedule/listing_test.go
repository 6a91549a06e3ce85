// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/schedule"
)

// A list of which pieces were replaced is the list of all that stands now.
func TestReplacedPiecesMakeTheSameList(t *testing.T) {
	t.Parallel()
	today := day(t, "2026-06-15")
	rapid.Check(t, func(t *rapid.T) {
		drawn := func(id loops.LoopID) (items []schedule.Item) {
			for _, kind := range rapid.SliceOfNDistinct(rapid.SampledFrom(loops.TaskKinds()), 0, 3, rapid.ID).Draw(t, "tasks") {
				i := item(owner(1+loops.OwnerID(id)%3), id, kind, today.AddDays(rapid.IntRange(-40, 40).Draw(t, "day")))
				i.Task.Paused = rapid.IntRange(0, 5).Draw(t, "paused") == 0
				if rapid.IntRange(0, 3).Draw(t, "agreed") == 0 {
					i.Loop.State.Agreed = today.AddDays(rapid.IntRange(-9, 9).Draw(t, "agreed for"))
				}
				items = append(items, i)
			}
			return items
		}
		stands := map[loops.LoopID][]schedule.Item{}
		whole := func() (all []schedule.Item) {
			for id := range loops.LoopID(9) {
				all = append(all, stands[id]...)
			}
			return all
		}
		for id := range loops.LoopID(8) {
			stands[id] = drawn(id)
		}
		listing := schedule.NewListing(schedule.DefaultPolicy(), today, whole())
		for range rapid.IntRange(1, 5).Draw(t, "writes") {
			of := map[loops.LoopID]bool{}
			var fresh []schedule.Item
			for _, id := range rapid.SliceOfNDistinct(rapid.Uint64Range(0, 8), 0, 3, rapid.ID).Draw(t, "written") {
				is := loops.LoopID(id)
				stands[is], of[is] = drawn(is), true
				fresh = append(fresh, stands[is]...)
			}
			listing.Replace(of, fresh)
			require.Equal(t, schedule.NewListing(schedule.DefaultPolicy(), today, whole()).List(), listing.List())
		}
	})
}

func TestWhomAWriteConcerns(t *testing.T) {
	t.Parallel()
	today := day(t, "2026-06-15")
	pending, donor := item(owner(3), 30, loops.Look, today), item(owner(0), 40, loops.Look, today)
	pending.Letters.Pending = 1
	items := []schedule.Item{item(owner(1), 10, loops.Look, today), item(owner(1), 11, loops.Look, today), item(owner(2), 20, loops.Look, today), pending, donor}
	for n := range items {
		items[n].Machine.ID = loops.MachineID(items[n].Loop.ID) + 100
	}
	listing := schedule.NewListing(schedule.DefaultPolicy(), today, items)
	for _, tt := range []struct {
		name    string
		touched loops.Touched
		loops   []loops.LoopID
	}{
		{"nothing", loops.Touched{}, []loops.LoopID{30}},
		{"a loop on the list, and one that comes", loops.Touched{Loops: map[loops.LoopID]bool{20: true, 50: true}}, []loops.LoopID{20, 30, 50}},
		{"a machine", loops.Touched{Machines: map[loops.MachineID]bool{120: true}}, []loops.LoopID{20, 30}},
		{"an owner", loops.Touched{Owners: map[loops.OwnerID]bool{1: true}}, []loops.LoopID{10, 11, 30}},
	} {
		want := map[loops.LoopID]bool{}
		for _, id := range tt.loops {
			want[id] = true
		}
		require.Equal(t, want, listing.Concerned(tt.touched), tt.name)
	}
}
