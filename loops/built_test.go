// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
	"fillmark/loops"
)

// What another unit of the model is taken for is what its maker decides, marked
// as assumed; where it stands is not taken over.
func TestBuiltAsIn(t *testing.T) {
	t.Parallel()
	other := loops.Construction{
		Sealed: true, Volume: 0.18, VolumeKnown: loops.Known{How: loops.Measured}, Wetted: []loops.WettedPart{{Part: "radiator", Metal: chemistry.Aluminium}},
		ColdestWall: new(chemistry.Celsius(15)), NoFrost: true, SetPoint: new(chemistry.Celsius(18)), EvaporatorMargin: new(chemistry.CelsiusDelta(6)),
		Hottest: new(chemistry.Celsius(70)), Reach: new(false),
	}
	assumed := loops.Known{How: loops.Assumed, By: "as in 7K3QXA, the last unit of its model"}
	want := loops.Construction{Sealed: true, BuiltKnown: assumed, Volume: 0.18, VolumeKnown: assumed, Wetted: other.Wetted, EvaporatorMargin: other.EvaporatorMargin}
	assert.Equal(t, want, other.AsIn("7K3QXA"))
	other.Volume = 0
	assert.Equal(t, loops.Known{}, other.AsIn("7K3QXA").VolumeKnown, "nothing is known of a volume that is not on record")
}

func TestBuildThatNobodyLookedAt(t *testing.T) {
	t.Parallel()
	l := loops.Loop{Construction: loops.Construction{Sealed: true, BuiltKnown: loops.Known{How: loops.NotKnown}}}
	assert.NoError(t, l.Validate())
	assert.Contains(t, strings.Join(l.Words(), "; "), "sealed or open is not known")
	l.Sealed = false
	assert.ErrorContains(t, l.Validate(), "sealed", "the stricter of the two is taken")
	l.Sealed, l.BuiltKnown = true, loops.Known{How: loops.Assumed}
	assert.Contains(t, strings.Join(l.Words(), "; "), "sealed (assumed)")
}

// What is asked goes once it is answered, and nothing else goes with it.
func TestNotKnownYet(t *testing.T) {
	t.Parallel()
	l := loops.Loop{Construction: loops.Construction{Sealed: true, BuiltKnown: loops.Known{How: loops.NotKnown}}}
	for i, answer := range []func(){
		func() {
			l.BuiltKnown, l.Wetted = loops.Known{}, []loops.WettedPart{{Part: "radiator", Metal: chemistry.Brass}}
		},
		func() { l.Volume = 0.5 },
		func() { l.State.Empty = loops.Day{Year: 2026, Month: 11, Dom: 28} },
		func() { l.NoFrost = true },
		func() { l.Reach = new(false) },
	} {
		assert.Len(t, l.NotKnownYet(), 5-i)
		answer()
	}
	assert.Empty(t, l.NotKnownYet())
}
