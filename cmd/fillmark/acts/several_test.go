// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

func dosed(days int, family string) loops.Entry {
	e := entry(days, loops.KindDose)
	e.Dose = &loops.Dose{Role: loops.RoleBiocide, Additive: loops.Additive{Family: family}}
	return e
}

func cleaned(days int, agent chemistry.Agent) loops.Entry {
	e := entry(days, loops.KindClean)
	e.Clean = &loops.Cleaning{Agents: []chemistry.Agent{agent}}
	return e
}

// Whatever is in one liquid is held against each other: what went in with the
// fill, what was dosed later, and what no rinse took out. Nothing wins silently.
func TestWhatMeetsInALoopIsJudged(t *testing.T) {
	t.Parallel()
	fill := func(words ...string) acts.Act {
		return line(t, "fill", append([]string{"fluid=pg", "mass=30%", "mass-uncertainty=1%", "inhibitor=azole", "poured=460ml"}, words...)...)
	}
	dose := func(family string) acts.Act {
		return line(t, "dose", "role=biocide", "family="+family, "product=Clear B", "poured=1ml")
	}
	const pair, left = "bronopol-biocide+isothiazolinone-biocide", "left-behind"
	old := []loops.Entry{filled(-9), dosed(-8, "bronopol"), drained(-7)}
	rinsed := entry(-6, loops.KindFlush)
	for _, tt := range []struct {
		name    string
		act     acts.Act
		history []loops.Entry
		rule    string
		verdict chemistry.Verdict // of the rule; empty where it is silent
	}{
		{"two biocides filled in", fill("biocide=isothiazolinone", "additive=biocide:bronopol"), nil, pair, chemistry.Care},
		{"one of them", fill("biocide=isothiazolinone"), nil, pair, ""},
		{"one dosed beside another", dose("isothiazolinone"), []loops.Entry{filled(-3), dosed(-2, "bronopol")}, pair, chemistry.Care},
		{"the same again", dose("bronopol"), []loops.Entry{filled(-3), dosed(-2, "bronopol")}, pair, ""},
		{"two that fight", dose("oxidising"), []loops.Entry{filled(-3), dosed(-2, "glutaraldehyde")}, "oxidising-biocide+azole", chemistry.Stop},
		{"two inhibitors that fight", fill("additive=inhibitor:nitrite", "additive=inhibitor:amine"), nil, "amine+nitrite", chemistry.Stop},
		{"a family that nobody knows", fill("biocide=bronopol", "additive=biocide:unknown:::Clear"), nil, "family-unknown", chemistry.Care},
		{"topped up over two", line(t, "poured", "poured=water=1ml"), []loops.Entry{filled(-3), dosed(-2, "bronopol"), dosed(-1, "isothiazolinone")}, pair, chemistry.Care},
		{"filled over what a drain left", fill("biocide=isothiazolinone"), old, pair, chemistry.Care},
		{"which is said", fill("biocide=none"), old, left, chemistry.Care},
		{"not where it is the same", fill("biocide=bronopol"), old, left, ""},
		{"nor after a rinse", fill("biocide=isothiazolinone"), append(slices.Clone(old), rinsed), pair, ""},
		{"and nothing is left", fill("biocide=none"), append(slices.Clone(old), rinsed), left, ""},
		{"over what nobody knows", fill("biocide=none"), []loops.Entry{drained(-3)}, left, chemistry.Care},
		{"acid after bleach", line(t, "clean", "agent=acid", "rinsed"), []loops.Entry{drained(-3), cleaned(-2, "bleach")}, "acid+bleach", chemistry.Stop},
		{"acid after bleach rinsed out", line(t, "clean", "agent=acid", "rinsed"), []loops.Entry{drained(-3), cleaned(-2, "bleach"), entry(-1, loops.KindFlush)}, "acid+bleach", ""},
		{"bleach over an old quat", line(t, "clean", "agent=bleach", "rinsed"), []loops.Entry{filled(-4), dosed(-3, "quat"), drained(-2)}, "bleach+quat-biocide", chemistry.Care},
		{"filled over an agent", fill("biocide=none"), append(slices.Clone(old), rinsed, cleaned(-2, "detergent")), left, chemistry.Care},
		{"and over the agent rinsed out", fill("biocide=none"), append(slices.Clone(old), cleaned(-3, "detergent"), entry(-2, loops.KindFlush)), left, ""},
	} {
		s := snapshot(tt.history...)
		assert.NoError(t, tt.act.Check(s, today), tt.name)
		var got chemistry.Verdict
		for _, r := range tt.act.Judge(s, today) {
			if r.Rule == tt.rule {
				got = r.Verdict
				assert.False(t, r.Source == "" || r.Text == "", "%s: a reason says why, and from where", tt.name)
			}
		}
		assert.Equal(t, tt.verdict, got, "%s: %s", tt.name, tt.rule)
	}
	assert.ErrorContains(t, line(t, "dose", "role=biocide", "family=none").Check(snapshot(filled(-1)), today), "family")
}

// A further additive is said in one word, and read back from it.
func TestFurtherAdditive(t *testing.T) {
	t.Parallel()
	d, _ := acts.Find("fill")
	for _, text := range []string{"biocide:bronopol", "biocide:unknown:::Clear: B", "inhibitor:azole:2ml/l", "inhibitor:oat::24", "biocide:quat:0.5ml/l:6:Q"} {
		act, err := d.Read(acts.Said{"additive": {text}})
		assert.NoError(t, err, text)
		assert.Equal(t, []string{text}, d.Say(act)["additive"])
	}
	for text, says := range map[string]string{
		"bronopol": "role and family", "soap:bronopol": "one of: inhibitor, biocide", "biocide:azole": "isothiazolinone", "biocide:quat:lots": "a number", "biocide:quat::half": "whole number",
	} {
		_, err := d.Read(acts.Said{"additive": {text}})
		assert.ErrorContains(t, err, says, text)
		assert.True(t, err != nil && strings.HasPrefix(err.Error(), "additive"), text)
	}
}

// A bottle goes by its own label wherever it is named: a fill from it has its
// strength and how sure that is, and a top-up is judged by its curve.
func TestBottleDrivesFillAndTopUp(t *testing.T) {
	t.Parallel()
	pair := func(text string) chemistry.LabelPair {
		p, err := chemistry.ParseLabelPair(text)
		require.NoError(t, err)
		return p
	}
	s := snapshot(filled(-3))
	s.Containers = []loops.Container{
		{ID: 3, Kind: loops.PremixBottle, Product: "ready", Lot: "L-1", Fluid: chemistry.PropyleneGlycol, Left: 5, Pairs: []chemistry.LabelPair{pair("50%:-7C"), pair("100%:-21C")}},
		{ID: 4, Kind: loops.ConcentrateBottle, Product: "neat", Fluid: chemistry.PropyleneGlycol, Left: 5, Pairs: []chemistry.LabelPair{pair("30%:-12.4C"), pair("50%:-31C")}},
		{ID: 5, Kind: loops.PremixBottle, Product: "blank", Fluid: chemistry.PropyleneGlycol, Left: 5},
	}
	e := line(t, "fill", "poured=3=460ml").Apply(s, today).Entries[0]
	charge := e.Fill.Charge
	assert.Equal(t, "ready", charge.Product)
	assert.Equal(t, loops.Known{How: loops.OnLabel, By: "ready"}, charge.MassKnown)
	l := loops.Loop{State: loops.Fold([]loops.Entry{e})}
	assert.InDelta(t, -21, float64(l.Protection().FreezePoint), 0.1, "what its label says")
	assert.GreaterOrEqual(t, float64(l.Protection().Uncertainty), 1.0, "with its own uncertainty")
	said := line(t, "fill", "fluid=pg", "mass=30%", "poured=3=460ml").Apply(s, today).Entries[0].Fill.Charge
	assert.InDelta(t, 0.30, float64(*said.Mass), 1e-12, "what is said goes before the label")

	require.NoError(t, line(t, "poured", "poured=4=10ml").Check(s, today))
	stronger := loops.Fold([]loops.Entry{filled(-3), line(t, "poured", "poured=4=10ml").Apply(s, today).Entries[0]})
	assert.Greater(t, float64(*stronger.Charge.Mass), 0.405)
	assert.ErrorContains(t, line(t, "poured", "poured=5=10ml").Check(s, today), "strength or label")
}

// A fill from the shelf says what it is: fluid and strength follow from what was
// poured, a bottle with water by its own label, where nobody says them.
func TestFillSaysWhatWasPoured(t *testing.T) {
	t.Parallel()
	s := snapshot(drained(-1))
	for _, text := range []string{"25%:-9C", "40%:-20C", "50%:-31C"} {
		pair, err := chemistry.ParseLabelPair(text)
		require.NoError(t, err)
		if len(s.Containers) == 1 {
			s.Containers = append(s.Containers,
				loops.Container{ID: 4, Kind: loops.ConcentrateBottle, Product: "Tern", Fluid: chemistry.PropyleneGlycol, Left: 5},
				loops.Container{ID: 5, Kind: loops.WaterContainer, Product: "distilled", Fluid: chemistry.DeionisedWater, Left: 5})
		}
		s.Containers[1].Pairs = append(s.Containers[1].Pairs, pair)
	}
	charge := func(words ...string) loops.Charge {
		t.Helper()
		act := line(t, "fill", words...)
		require.NoError(t, act.Check(s, today), words)
		return act.Apply(s, today).Entries[0].Fill.Charge
	}
	for _, water := range []string{"5=270ml", "water=270ml"} {
		c := charge("poured=4=180ml", "poured="+water)
		assert.Equal(t, chemistry.PropyleneGlycol, c.Fluid)
		freeze, err := chemistry.FreezePoint(c.Fluid, *c.Mass)
		require.NoError(t, err)
		assert.InDelta(t, -20, float64(freeze.Stated), 0.05, "40 % of it, by its label")
		assert.Equal(t, loops.Calculated, c.MassKnown.How)
		assert.Equal(t, "Tern", c.Product)
		assert.InDelta(t, 0.443, float64(c.Volume), 0.002, "they contract")
	}
	assert.InDelta(t, 0.5, float64(charge("poured=4=203ml", "poured=5=305ml").Volume), 0.001, "508 ml poured are not too much for 500 ml")
	assert.Equal(t, chemistry.DeionisedWater, charge("poured=5=400ml").Fluid)
	assert.Equal(t, chemistry.TreatedWater, charge("fluid=water", "poured=5=400ml").Fluid, "what is said goes before the label")
	for says, words := range map[string][]string{
		"this is propylene glycol": {"fluid=eg", "mass=40%", "poured=4=100ml"},
		"the ethylene glycol too":  {"fluid=eg", "poured=5=400ml"},
		"one glycol":               {"poured=4=100ml", "poured=eg:95%=100ml"},
		"what it was and how much": {"poured=4=100ml", "poured=300ml"},
		"its label ends there":     {"poured=4=400ml", "poured=water=50ml"},
	} {
		assert.ErrorContains(t, line(t, "fill", words...).Check(s, today), says, words)
	}
}

// A label's dose is asked for as one figure by volume.
func TestDoseOfALabel(t *testing.T) {
	t.Parallel()
	d, ok := acts.Find("dose")
	require.True(t, ok)
	for text, want := range map[string]float64{"2ml/l": 2, "2": 2, "0.5vol%": 5, "0.5 vol %": 5} {
		act, err := d.Read(acts.Said{"role": {"biocide"}, "label-dose": {text}})
		require.NoError(t, err, text)
		dose, ok := act.(*acts.Dose)
		require.True(t, ok)
		assert.InDelta(t, want, dose.Additive.DoseMLPerL, 1e-9, text)
	}
	for _, text := range []string{"0.5-1 %", "0.5–1ml/l", "1-2ml/l", "300ppm", "1%"} {
		_, err := d.Read(acts.Said{"role": {"biocide"}, "label-dose": {text}})
		assert.ErrorContains(t, err, "one figure by volume", text)
	}
}

// What should not be in a loop is recorded where it was found or poured, is a
// stop before, and spoils the charge.
func TestFurtherLiquidsAreRecordedAndNeverGo(t *testing.T) {
	t.Parallel()
	for _, f := range chemistry.OtherLiquids() {
		fill := line(t, "fill", "fluid="+string(f), "mass=30%", "poured=460ml")
		assert.Contains(t, settled(t, fill, snapshot()), "stop not-for-electronics", f)
		found := line(t, "fill", "fluid="+string(f), "mass=30%", "origin=unknown", "filled-to=2026-01-10")
		require.NoError(t, found.Check(snapshot(), today), f)
		e := found.Apply(snapshot(), today).Entries[0]
		e.By = "test"
		require.NoError(t, e.Validate(), f)
		assert.Contains(t, settled(t, line(t, "handover", "mail-consent"), snapshot(e)), "stop", "no release with %s in it", f)
		assert.Contains(t, settled(t, line(t, "poured", "poured=water=10ml"), snapshot(e)), "stop", "no top-up of %s", f)

		poured := line(t, "poured", "poured="+string(f)+"=10ml")
		assert.Contains(t, settled(t, poured, snapshot(filled(-3))), "stop", f)
		e = poured.Apply(snapshot(filled(-3)), today).Entries[0]
		e.By = "test"
		require.NoError(t, e.Validate(), f)
		assert.NotNil(t, loops.Fold([]loops.Entry{filled(-3), e}).Contaminated, f)
	}
}

// A second product of a family that is in the charge is asked about; a renewal is
// not, nor is another family; and what was said is what is folded.
func TestSecondOfAFamilyAsksWhich(t *testing.T) {
	t.Parallel()
	old := dosed(-2, "bronopol")
	old.Dose.Additive.Product = "Clear B"
	s := snapshot(filled(-3), old)
	other := []string{"role=biocide", "family=bronopol", "product=New C", "poured=1ml"}
	err := line(t, "dose", other...).Check(s, today)
	require.ErrorContains(t, err, "instead")
	require.ErrorContains(t, err, "Clear B")
	for _, words := range [][]string{
		append([]string{"instead=yes"}, other...), append([]string{"instead=no"}, other...),
		{"role=biocide", "family=bronopol", "product=clear b", "poured=1ml"}, {"role=biocide", "family=bronopol", "poured=1ml"},
		{"role=biocide", "family=quat", "product=New C", "poured=1ml"},
	} {
		require.NoError(t, line(t, "dose", words...).Check(s, today), "%v", words)
	}
	for said, want := range map[string]int{"instead=yes": 1, "instead=no": 2} {
		change := line(t, "dose", append([]string{said}, other...)...).Apply(s, today)
		charge := loops.Fold(append(slices.Clone(s.History), change.Entries...)).Charge
		assert.Len(t, charge.Having(loops.RoleBiocide), want, said)
	}
}

// What a bottle that goes by its label brings to a charge is on record as its own
// curve says at the charge's strength, which is not what it is neat.
func TestTopUpByTheBottlesOwnCurve(t *testing.T) {
	t.Parallel()
	s := snapshot(filled(-3))
	s.Containers = []loops.Container{{ID: 7, Kind: loops.ConcentrateBottle, Product: "blue", Fluid: chemistry.PropyleneGlycol, Left: 1, Pairs: []chemistry.LabelPair{
		{Strength: 0.30, Freeze: new(chemistry.Celsius(-12.4))}, {Strength: 0.50, Freeze: new(chemistry.Celsius(-33.4))},
	}}}
	product := s.Containers[0].ByLabel()
	neat, _, err := product.Neat()
	require.NoError(t, err)
	charge := s.On(today).Charge
	want, _, err := product.CountsAs(*charge.Mass)
	require.NoError(t, err)
	require.Greater(t, math.Abs(float64(want-neat)), 0.01, "the two differ here")
	poured := line(t, "poured", "poured=7=10ml").Apply(s, today).Entries[0].TopUp.Poured
	require.Len(t, poured, 1)
	assert.InDelta(t, float64(want), float64(poured[0].Mass), 1e-9)
}

// How far a label may be off reaches the charge: what is folded after a pour is
// no surer than what the gate judged, and a fill of several bottles no surer
// than they are.
func TestLabelsUncertaintyReachesTheCharge(t *testing.T) {
	t.Parallel()
	s := snapshot(filled(-3))
	s.Containers = []loops.Container{
		{ID: 7, Kind: loops.ConcentrateBottle, Product: "blue", Fluid: chemistry.PropyleneGlycol, Left: 1, Pairs: []chemistry.LabelPair{
			{Strength: 0.30, Freeze: new(chemistry.Celsius(-12.4))}, {Strength: 0.50, Freeze: new(chemistry.Celsius(-33.4))},
		}},
		{ID: 8, Kind: loops.PremixBottle, Product: "measured", Fluid: chemistry.PropyleneGlycol, Left: 1, Mass: new(chemistry.MassFraction(0.4)), MassUncertainty: 0.05},
	}
	before := s.On(today).Charge
	off := func(words ...string) chemistry.MassFraction {
		e := line(t, "poured", words...).Apply(s, today).Entries[0]
		e.By = "test"
		require.NoError(t, e.Validate())
		return loops.Fold(append(slices.Clone(s.History), e)).Charge.MassUncertainty
	}
	assert.Greater(t, float64(off("poured=7=100ml")), 1.2*float64(before.MassUncertainty))
	assert.InDelta(t, (0.46*0.01+0.46*0.05)/0.92, float64(off("poured=8=460ml")), 1e-4, "half of each")
	assert.InDelta(t, float64(before.MassUncertainty), float64(off("poured=water=100ml")), 1e-12, "no surer than it was")

	fill := func(words ...string) loops.Charge {
		return line(t, "fill", append(words, "fluid=pg", "mass=40%")...).Apply(s, today).Entries[0].Fill.Charge
	}
	assert.InDelta(t, 0.05, float64(fill("poured=8=400ml", "poured=8=60ml").MassUncertainty), 1e-4)
	assert.InDelta(t, 0.02, float64(fill("poured=8=46ml", "poured=water=414ml").MassUncertainty), 1e-4, "what is assumed is wider here")
	assert.InDelta(t, 0.01, float64(fill("poured=8=460ml", "mass-uncertainty=1%", "mass-known=measured").MassUncertainty), 1e-12, "a reading stands for itself")
}
