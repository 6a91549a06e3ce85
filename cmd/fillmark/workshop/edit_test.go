// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// A record that is put right is written whatever follows from it, and says what
// does: also for a machine handed over long ago.
func TestEditSaysTheVerdict(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-01-10 15"))
	later := at("2026-11-10 15")
	colder := loop
	colder.ColdestWall, colder.NoFrost = new(chemistry.Celsius(-45)), false
	done, err := b.Edit(later, workshop.Edit{Loop: &colder})
	require.NoError(t, err)
	assert.Equal(t, chemistry.Stop, done.Verdict)
	assert.NotEmpty(t, done.Reasons)
	assert.Equal(t, loops.Known{How: loops.Measured, On: loops.Day{Year: 2026, Month: 11, Dom: 10}}, done.Loop.ColdestWallKnown)
	assert.InDelta(t, -45, float64(*done.Loop.ColdestWall), 0, "it is written all the same")

	named := done.Loop
	named.Name = "left side"
	done, err = b.Edit(later, workshop.Edit{Loop: &named})
	require.NoError(t, err)
	assert.Empty(t, done.Verdict, "a name changes no verdict")
	var actions []string
	for line, err := range b.store.Audit() {
		require.NoError(t, err)
		actions = append(actions, line.Action)
	}
	assert.Contains(t, actions, "loop edit: name")
}

// Machine and loop are one change, or nothing.
func TestEditIsWholeOrNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-01-10 15"))
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	machine, bad := file.Machine, file.Loop
	machine.Kind, bad.Volume = loops.BenchChiller, 5000
	_, err = b.Edit(at("2026-11-10 15"), workshop.Edit{Machine: &machine, Loop: &bad})
	require.ErrorContains(t, err, "volume")
	now, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.Equal(t, file, now)

	good := file.Loop
	good.Name = "left side"
	done, err := b.Edit(at("2026-11-10 15"), workshop.Edit{Machine: &machine, Loop: &good})
	require.NoError(t, err)
	assert.Equal(t, loops.BenchChiller, done.Machine.Kind)
	assert.Equal(t, "left side", done.Loop.Name)
	assert.Equal(t, file.Loop.Revision+1, done.Loop.Revision)
}
