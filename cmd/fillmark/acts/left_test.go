// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// What a drain left in a loop thins what is poured in after it: a premix is not
// in the loop as strong as its label says.
func TestWhatADrainLeftThinsTheFill(t *testing.T) {
	t.Parallel()
	emptied := func(left chemistry.Litre) loops.Entry {
		e := drained(-3)
		e.Drain.Left = left
		return e
	}
	rinsed := entry(-2, loops.KindFlush)
	// By hand, with densities at 20 °C of 1.024 kg/l for the premix and 0.998 for water
	// (Melinder 2010): 0.3 of 131.1 g in 151.0 g are 26.0 mass %.
	const thinned, neat = 0.260, 0.3
	for _, tt := range []struct {
		name    string
		history []loops.Entry
		words   []string
		mass    float64
		volume  chemistry.Litre
		by      string
	}{
		{"rinsed", []loops.Entry{filled(-9), emptied(0.02), rinsed}, []string{"poured=3=128ml"}, thinned, 0.148, "20 ml left inside"},
		{"blown dry", []loops.Entry{filled(-9), emptied(0), rinsed}, []string{"poured=3=128ml"}, neat, 0.128, "invented premix"},
		{"never drained", nil, []string{"poured=3=128ml"}, neat, 0.128, "invented premix"},
		{"said otherwise", []loops.Entry{filled(-9), emptied(0.02), rinsed}, []string{"poured=3=128ml", "mass=27%", "mass-known=measured", "mass-uncertainty=1%"}, 0.27, 0.148, ""},
		{"worked out by hand", []loops.Entry{filled(-9), emptied(0.02), rinsed}, []string{"poured=3=128ml", "mass=27%"}, 0.27, 0.148, "what was poured"},
		{"over the old charge of 40 %", []loops.Entry{filled(-9), emptied(0.02)}, []string{"poured=3=128ml"}, 0.314, 0.148, "20 ml left inside"},
	} {
		s := snapshot(tt.history...)
		s.Containers = []loops.Container{{ID: 3, Product: "invented premix", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.3)), MassUncertainty: 0.01, Left: 2}}
		s.Loop.Volume = 0.5
		act := line(t, "fill", append([]string{"inhibitor=oat", "biocide=none"}, tt.words...)...)
		require.NoError(t, act.Check(s, today), tt.name)
		charge := act.Apply(s, today).Entries[0].Fill.Charge
		assert.InDelta(t, tt.mass, float64(*charge.Mass), 0.001, tt.name)
		assert.InDelta(t, float64(tt.volume), float64(charge.Volume), 0.0005, tt.name)
		assert.Contains(t, charge.MassKnown.By, tt.by, tt.name)
		assert.Equal(t, tt.by == "20 ml left inside", strings.Contains(charge.MassKnown.By, "left inside"), tt.name)
		assert.Len(t, act.Apply(s, today).Entries[0].Fill.Poured, 1, "%s: what was left is not poured", tt.name)
	}
}

// A charge whose volume nobody wrote down is as much as its loop holds: what a
// flood of water does to it is told.
func TestATopUpOfAChargeOfUnknownVolume(t *testing.T) {
	t.Parallel()
	measured, blank := snapshot(filled(-4)), snapshot(filled(-4))
	blank.History[0].Fill.Charge.Volume = 0
	for _, s := range []*acts.Snapshot{&measured, &blank} {
		s.Loop.Volume = 0.46
	}
	flood := line(t, "poured", "drained=300ml", "went=drum 2", "poured=water=300ml")
	assert.Contains(t, settled(t, flood, measured), "stop")
	assert.Equal(t, settled(t, flood, measured), settled(t, flood, blank))
}
