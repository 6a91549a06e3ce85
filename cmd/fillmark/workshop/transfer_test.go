// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// A loop keeps the name that tells it from the others in its machine, without
// the former owner's in it.
func TestTransferTakesTheFormerOwnerOffLoops(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	s := at("2026-05-02 10")
	ana, err := b.AddOwner(s, loops.Owner{Name: "Ana Fern"})
	require.NoError(t, err)
	bo, err := b.AddOwner(s, loops.Owner{Name: "Bo Lind"})
	require.NoError(t, err)
	machine, err := b.AddMachine(s, loops.Machine{Owner: ana.ID, Kind: loops.Desktop, Name: "tower"})
	require.NoError(t, err)
	loop, err := b.AddLoop(s, loops.Loop{Machine: machine.ID, Name: "Ana's upper loop", Construction: loops.Construction{Volume: 0.5}})
	require.NoError(t, err)
	_, err = b.Act(s, loop.Tag, &acts.Transfer{Transfer: loops.Transfer{To: bo.ID}})
	require.NoError(t, err)
	kept, err := b.store.Loop(loop.ID)
	require.NoError(t, err)
	assert.Equal(t, "-'s upper loop", kept.Name)
}
