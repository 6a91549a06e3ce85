// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// An act that comes twice is the one on record, though the record has it by then:
// a premix over what a drain left is as strong both times.
func TestTheSameFillAfterADrainIsRecognised(t *testing.T) {
	t.Parallel()
	s := snapshot(filled(-9), leaving(-3, 0.02), entry(-2, loops.KindFlush))
	s.Containers[0].Mass = new(chemistry.MassFraction(0.3))
	fill := func(poured string) acts.Act {
		return line(t, "fill", "poured=3="+poured, "inhibitor=oat", "biocide=none")
	}
	d := acts.Of(fill("128ml"))
	first := fill("128ml").Apply(s, today).Entries[0]
	first.ID = 4
	s.History = append(s.History, first)
	s.Loop.LastEntry, s.Loop.State = 4, loops.Fold(s.History)
	assert.Empty(t, acts.Differs(d, fill("128ml"), first, s))
	assert.Equal(t, "filled", acts.Differs(d, fill("129ml"), first, s))
}

// An entry keeps as many reasons as it has room for, the worst of them, and says
// how many more there were.
func TestMoreReasonsThanAnEntryKeeps(t *testing.T) {
	t.Parallel()
	s := snapshot(filled(-9), leaving(-3, 0.02))
	s.Loop.Materials = chemistry.Materials()
	for _, m := range chemistry.Metals() {
		s.Loop.Wetted = append(s.Loop.Wetted, loops.WettedPart{Part: string(m), Metal: m})
	}
	words := []string{"already-done"}
	for _, a := range chemistry.Agents() {
		words = append(words, "agent="+string(a))
	}
	clean := line(t, "clean", words...)
	judged, reasons, err := acts.Settle(acts.Of(clean), clean, s, today, "test")
	assert.NoError(t, err)
	assert.Greater(t, len(reasons), 40)
	e := clean.Apply(s, today).Entries[0]
	e.By, e.Judged = "test", judged
	assert.NoError(t, e.Validate())
	assert.Equal(t, chemistry.Stop, judged.Reasons[0].Verdict)
	assert.Contains(t, judged.Reasons[len(judged.Reasons)-1].Text, "more reasons")
}

// What was asked of an owner is told apart: consent to photos alone is read back
// as said, and an entry of before that as it was.
func TestEachConsentIsReadBackAsAsked(t *testing.T) {
	t.Parallel()
	s := snapshot(filled(-3), checked(-2, 24, true), proved(-1))
	for _, words := range [][]string{{"photo-consent=yes"}, {"mail-consent=no"}, {"opening-consent=no", "mail-consent=yes"}, nil} {
		act := line(t, "handover", words...)
		d := acts.Of(act)
		said := acts.Said{}
		again, _ := acts.Entered(act.Apply(s, today).Entries[0])
		for _, name := range []string{"mail-consent", "opening-consent", "photo-consent"} {
			if v := d.Say(again)[name]; v != nil {
				said[name] = v
			}
		}
		assert.Len(t, said, len(words), words)
		assert.Empty(t, acts.Differs(d, act, act.Apply(s, today).Entries[0], s), words)
	}
	for notAsked, want := range map[bool]int{true: 0, false: 3} {
		e := entry(0, loops.KindHandover)
		e.Handover = &loops.Handover{Consent: loops.Consent{Opening: true}, NotAsked: notAsked}
		old, _ := acts.Entered(e)
		said := acts.Of(old).Say(old)
		assert.Equal(t, want, len(said["mail-consent"])+len(said["opening-consent"])+len(said["photo-consent"]))
	}
}

// Of a new cooler of which nobody said whether it is sealed, it is not known: the
// stricter is taken, and somebody is to look.
func TestASwapKnowsWhatWasSaid(t *testing.T) {
	t.Parallel()
	for said, want := range map[string]loops.Construction{
		"note=x":     {Sealed: true, BuiltKnown: loops.Known{How: loops.NotKnown}},
		"sealed=yes": {Sealed: true},
		"sealed=no":  {},
	} {
		l := line(t, "swap", "old-unit=kept", said).Apply(snapshot(filled(-3)), today).Loops[0]
		assert.Equal(t, want.Sealed, l.Sealed, said)
		assert.Equal(t, want.BuiltKnown, l.BuiltKnown, said)
		assert.NoError(t, l.Validate(), said)
	}
}

// What may be in a sealed loop is measured by the least that it may hold, what is
// too much by the most: nobody may set the room to expand aside.
func TestRoomIsCountedByTheLeastTheLoopHolds(t *testing.T) {
	t.Parallel()
	s := snapshot()
	s.Loop.Sealed = true
	fill := func(poured string) string {
		return settled(t, line(t, "fill", "fluid=pg", "mass=40%", "mass-uncertainty=1%", "inhibitor=azole", "biocide=none", "poured="+poured), s)
	}
	assert.Equal(t, "go", fill("480ml")) // 20 ml of room for the 12 ml that it grows by
	s.Loop.VolumeUncertainty = 0.01
	assert.Equal(t, "stop expansion-room; refused", fill("480ml"))
	assert.Equal(t, "go", fill("475ml"))
	s.Loop.Sealed = false
	assert.Equal(t, "go", fill("510ml"), "it may hold that much")
	assert.Equal(t, "stop overfilled; refused", fill("511ml"))
}
