// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func filled(id loops.LoopID, machine string, charge *loops.Charge) workshop.OwnersFile {
	f := workshop.OwnersFile{Machine: loops.Machine{Name: machine}}
	f.Loop.ID, f.Loop.State.Charge = id, charge
	return f
}

// emptied is a loop that was drained of ethylene glycol.
func emptied(id loops.LoopID) workshop.OwnersFile {
	f := filled(id, "the dry one", nil)
	f.Loop.State.Empty, f.Loop.State.Remains = loops.Day{Year: 2026, Month: 5, Dom: 1}, &loops.Remains{Fluid: chemistry.EthyleneGlycol}
	return f
}

// An owner of two machines must not take the harmless liquid of one for the
// poisonous liquid of the other.
func TestOwnerCautionsNameTheMachine(t *testing.T) {
	t.Parallel()
	propylene := &loops.Charge{Fluid: chemistry.PropyleneGlycol}
	ethylene := &loops.Charge{Fluid: chemistry.EthyleneGlycol}
	tower, attic := filled(1, "the tower", propylene), filled(2, "the attic PC", ethylene)
	texts := workshop.OwnerCautions([]workshop.OwnersFile{tower, attic, tower})
	require.Len(t, texts, 3)
	assert.True(t, strings.HasPrefix(texts[0], "In “the attic PC”: The coolant is poisonous"), texts[0])
	assert.True(t, strings.HasPrefix(texts[1], "In “the tower”: The coolant is of low hazard"), texts[1])
	assert.Equal(t, chemistry.Deferral, texts[2])

	for _, one := range [][]workshop.OwnersFile{{attic}, {attic, filled(4, "another", ethylene)}} {
		texts = workshop.OwnerCautions(one)
		require.Len(t, texts, 2, "what holds for all of them names none")
		assert.True(t, strings.HasPrefix(texts[0], "The coolant is poisonous"), texts[0])
	}
	texts = workshop.OwnerCautions([]workshop.OwnersFile{emptied(1)})
	require.NotEmpty(t, texts)
	assert.True(t, strings.HasPrefix(texts[0], "The coolant is poisonous"), "what wets a drained loop counts: %s", texts[0])
}
