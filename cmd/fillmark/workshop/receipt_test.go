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

// Each machine's answer of a day has its receipt: the second may be the wet one.
func TestEachMachineHasItsReceipt(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	stamp := at("2026-05-01 15")
	first := b.handedOver(t, "ana@garden.example", stamp)
	machine, err := b.AddMachine(stamp, loops.Machine{Owner: 1, Kind: loops.Desktop, Name: "the white tower"})
	require.NoError(t, err)
	second, err := b.AddLoop(stamp, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5, ColdestWall: new(chemistry.Celsius(-10))}})
	require.NoError(t, err)
	b.filledAndChecked(t, stamp, second.Tag, glycol(), true)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	receipts := func() (n int) {
		for _, m := range b.messages(t) {
			if m.Purpose == loops.PurposeReceipt {
				n++
			}
		}
		return n
	}
	for n, say := range []struct {
		tag   loops.Tag
		words string
		want  int
	}{{first.Tag, "a noise", 1}, {second.Tag, "it drips", 2}, {second.Tag, "it drips more", 2}} {
		_, err = b.AnswerAbout(at("2026-05-02 10"), owner, loops.Answer{Answer: loops.SomethingOff, Words: say.words}, say.tag)
		require.NoError(t, err)
		assert.Equal(t, say.want, receipts(), "answer %d", n+1)
	}
	_, letter := b.latest(t, loops.PurposeReceipt)
	assert.Contains(t, letter.Text, "tower")
}
