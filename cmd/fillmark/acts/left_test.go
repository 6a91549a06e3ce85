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

func leaving(days int, left chemistry.Litre) loops.Entry {
	e := drained(days)
	e.Drain.Left = left
	return e
}

// What a drain left in a loop is in it after the fill, whatever was poured. Its
// strength counts it or is said not to.
func TestWhatADrainLeftIsInTheLoop(t *testing.T) {
	t.Parallel()
	s := snapshot(filled(-9), leaving(-3, 0.02), entry(-2, loops.KindFlush))
	for words, want := range map[string]string{
		"fluid=pg mass=40% poured=480ml":                                  "care not-counted",
		"fluid=pg volume=38% poured=480ml":                                "care not-counted",
		"fluid=pg mass=40% poured=480ml mass-known=measured":              "go",
		"fluid=pg poured=pg:90%=240ml poured=water=245ml":                 "go",
		"fluid=water poured=480ml":                                        "stop frost",
		"fluid=pg mass=40% poured=480ml filled=490ml mass-known=measured": "go",
	} {
		act := line(t, "fill", append(strings.Fields(words), "inhibitor=azole", "biocide=none")...)
		got := settled(t, act, s)
		assert.True(t, strings.HasPrefix(got, want), "%s: %s", words, got)
		volume := 0.5
		if strings.Contains(words, "filled=") {
			volume = 0.49
		}
		assert.InDelta(t, volume, float64(act.Apply(s, today).Entries[0].Fill.Charge.Volume), 0.005, words)
	}
	assert.Contains(t, settled(t, line(t, "fill", "fluid=pg", "mass=40%"), s), "impossible: poured", "what is left is no fill")
}

// What a drain left in a loop thins what is poured in after it: a premix is not
// in the loop as strong as its label says.
func TestWhatADrainLeftThinsTheFill(t *testing.T) {
	t.Parallel()
	emptied := func(left chemistry.Litre) loops.Entry { return leaving(-3, left) }
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
		assert.NotContains(t, charge.MassKnown.By, "assumed, and", tt.name)
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
