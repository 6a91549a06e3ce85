// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func TestUnitsOfASheet(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ count, lines, marks string }{
		{"3", "", "1 2 3"},
		{"", "B-14, the old school\r\n\r\nB-15", "B-14 B-15"},
		{"3", "B-14\n, found in a skip", "B-14 2 3"},
	} {
		all, err := workshop.ReadUnits(tt.count, tt.lines)
		require.NoError(t, err)
		var marks []string
		for _, u := range all {
			marks = append(marks, u.Mark)
		}
		assert.Equal(t, tt.marks, strings.Join(marks, " "))
	}
	all, err := workshop.ReadUnits("", "B-14, the old school, room 3")
	require.NoError(t, err)
	assert.Equal(t, []workshop.Unit{{Mark: "B-14", From: "the old school, room 3"}}, all)
	for _, tt := range []struct{ count, lines, field string }{
		{"", "", "count"}, {"0", "", "count"}, {"46", "", "count"}, {"many", "", "count"}, {"1", "a\nb", "count"},
		{"", "a\nA", "units"}, {"3", "2", "units"}, {"", strings.Repeat(",x\n", 46), "units"},
	} {
		_, err := workshop.ReadUnits(tt.count, tt.lines)
		var invalid *loops.InvalidError
		require.ErrorAs(t, err, &invalid, "%q %q", tt.count, tt.lines)
		assert.Equal(t, tt.field, invalid.Field)
	}
}

func (b bench) count(t *testing.T) (machines, inside int) {
	t.Helper()
	for _, err := range b.store.Machines() {
		require.NoError(t, err)
		machines++
	}
	for _, err := range b.store.Loops() {
		require.NoError(t, err)
		inside++
	}
	return machines, inside
}

// Every unit is a machine of its own with its tag; a sheet is on record whole or
// not at all, and once.
func TestUnitsAreTakenInTogether(t *testing.T) {
	t.Parallel()
	b, s := newBench(t), at("2026-11-28 10")
	filled := loops.Day{Year: 2023, Month: 6, Dom: 30}
	sheet := workshop.Units{
		Maker: "Heron", Model: "T1", Each: []workshop.Unit{{Mark: "B-14", From: "the old school"}, {Mark: "B-15"}, {Mark: "3"}}, Key: "sheet",
		Fill: &acts.Fill{Charge: loops.Charge{Origin: loops.Factory, FilledTo: filled}},
	}
	all, err := b.TakeInUnits(s, sheet)
	require.NoError(t, err)
	require.Len(t, all, 3)
	tags := map[loops.Tag]bool{}
	for n, loop := range all {
		tags[loop.Tag] = true
		file, err := b.File(loop.Tag)
		require.NoError(t, err)
		assert.Equal(t, loops.DonorUnit, file.Machine.Kind)
		assert.Equal(t, "T1, "+sheet.Each[n].Mark, file.Machine.Name)
		assert.Equal(t, "Heron", file.Machine.Maker)
		assert.Zero(t, file.Owner.ID)
		require.Len(t, file.History, 2)
		assert.Equal(t, loops.Factory, file.Loop.State.Charge.Origin)
		assert.Equal(t, filled, file.Loop.State.Charge.FilledTo)
		assert.Equal(t, n == 0, strings.Contains(file.History[1].Note, "the old school"))
		assert.Equal(t, loops.NotKnown, loop.BuiltKnown.How, "no other unit of the model is on record")
	}
	assert.Len(t, tags, 3)

	again, err := b.TakeInUnits(s, sheet)
	require.NoError(t, err)
	assert.Equal(t, all, again, "the same sheet is one entry")
	for _, each := range [][]workshop.Unit{sheet.Each[:2], append(sheet.Each[:3:3], workshop.Unit{Mark: "4"}), {{Mark: "B-14"}, {Mark: "C"}, {Mark: "3"}}} {
		other := sheet
		other.Each = each
		_, err = b.TakeInUnits(s, other)
		require.ErrorIs(t, err, loops.ErrRepeated)
	}
	machines, inside := b.count(t)
	assert.Equal(t, []int{3, 3}, []int{machines, inside})

	wrong := sheet
	wrong.Key, wrong.Each = "next", []workshop.Unit{{Mark: "ok"}, {Mark: strings.Repeat("x", 500)}}
	_, err = b.TakeInUnits(s, wrong)
	require.Error(t, err)
	wrong.Each, wrong.Model = sheet.Each, " "
	_, err = b.TakeInUnits(s, wrong)
	require.Error(t, err)
	machines, inside = b.count(t)
	assert.Equal(t, []int{3, 3}, []int{machines, inside}, "all or nothing")
}

// What is on record of the last unit of the model is assumed for all of them, and
// the sheet is still the same when it comes again.
func TestUnitsAreAssumedToBeAsTheLast(t *testing.T) {
	t.Parallel()
	b, s := newBench(t), at("2026-11-28 10")
	built := loops.Construction{Sealed: true, Volume: 0.15, BuiltKnown: loops.Known{How: loops.Measured}}
	last, err := b.Register(s, workshop.Registration{Machine: loops.Machine{Kind: loops.DonorUnit, Maker: "Heron", Model: "T1", Name: "first"}, Loop: loops.Loop{Construction: built}})
	require.NoError(t, err)
	sheet := workshop.Units{Model: "Heron T1", Each: []workshop.Unit{{Mark: "1"}, {Mark: "2"}}, Key: "sheet"}
	all, err := b.TakeInUnits(s, sheet)
	require.NoError(t, err)
	for _, loop := range all {
		assert.Equal(t, last.Volume, loop.Volume)
		assert.Equal(t, loops.Assumed, loop.BuiltKnown.How)
		file, err := b.File(loop.Tag)
		require.NoError(t, err)
		assert.Equal(t, []string{"Heron", "T1"}, []string{file.Machine.Maker, file.Machine.Model})
	}
	again, err := b.TakeInUnits(s, sheet)
	require.NoError(t, err)
	assert.Equal(t, all, again)
}
