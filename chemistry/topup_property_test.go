// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"errors"
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
)

// drawTopUp draws a top-up that is answered without an error.
func drawTopUp(t *rapid.T) chemistry.TopUpRequest {
	f := rapid.SampledFrom(glycols).Draw(t, "fluid")
	r := chemistry.TopUpRequest{
		Fluid:           f,
		Mass:            mass(rapid.Float64Range(0, 0.60).Draw(t, "mass")),
		MassUncertainty: chemistry.MassFraction(rapid.Float64Range(0, 0.05).Draw(t, "u")),
		Holds:           chemistry.Litre(rapid.Float64Range(0.05, 5).Draw(t, "holds")),
		Room:            chemistry.Litre(rapid.Float64Range(0, 1).Draw(t, "room")),
		Sealed:          rapid.Bool().Draw(t, "sealed"),
		Step:            chemistry.Kilogram(rapid.SampledFrom([]float64{0.0001, 0.001}).Draw(t, "step")),
	}
	if rapid.Bool().Draw(t, "protects") {
		r.Protect = celsius(rapid.Float64Range(-35, 15).Draw(t, "protect"))
	}
	if rapid.Bool().Draw(t, "filled") {
		r.FilledMass = mass(rapid.Float64Range(0.25, 0.55).Draw(t, "filled mass"))
	}
	for range rapid.IntRange(0, 4).Draw(t, "liquids") {
		l := chemistry.Liquid{
			Name: "liquid", Fluid: f, Mass: chemistry.MassFraction(rapid.Float64Range(0, 1).Draw(t, "strength")),
			Available: chemistry.Litre(rapid.SampledFrom([]float64{0, 0, 0.02, 0.2}).Draw(t, "available")),
		}
		r.With = append(r.With, l)
	}
	return r
}

// TestTopUpBalances: mass and glycol balance to 1e-9, no more is drained than there is, and no loop is filled past its brim or, if
// sealed, into the room it needs to expand.
func TestTopUpBalances(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := drawTopUp(t)
		for i := range r.With { // names tell the liquids apart in the steps
			r.With[i].Name = string(rune('a' + i))
		}
		v, err := chemistry.CheckTopUp(r)
		require.NoError(t, err)
		if v.Verdict == chemistry.Stop {
			assert.Empty(t, v.Steps)
			return
		}
		d, err := chemistry.Density(r.Fluid, *r.Mass, 20)
		require.NoError(t, err)
		total := float64(d.Mass(r.Holds))
		charge := total
		glycol := total * float64(*r.Mass)
		for _, s := range v.Steps {
			switch s.Do {
			case "drain":
				require.LessOrEqual(t, float64(s.Mass), charge+1e-9)
				total -= float64(s.Mass)
				glycol -= float64(s.Mass) * float64(*r.Mass)
			case "add":
				total += float64(s.Mass)
				glycol += float64(s.Mass) * float64(r.With[s.What[0]-'a'].Mass)
			}
		}
		if v.After.Mass < chemistry.MaxMassFraction { // there rounding may be cut off at the end of the tables
			assert.InDelta(t, glycol/total, float64(v.After.Mass), 1e-9)
		}
		slack := 4 * float64(r.Step) // each pour is rounded to the scale
		assert.LessOrEqual(t, float64(v.FillTo), float64(r.Holds+r.Room)+slack)
		if r.Sealed && len(v.Steps) > 0 {
			cold, err := chemistry.Density(r.Fluid, v.After.Mass, 20)
			require.NoError(t, err)
			hot, err := chemistry.Density(r.Fluid, v.After.Mass, 60)
			require.NoError(t, err)
			assert.LessOrEqual(t, float64(v.FillTo)*float64(cold/hot), float64(r.Holds+r.Room)+slack)
		}
	})
}

// TestTopUpNeverBetter: the verdict is never better when an input is worse.
func TestTopUpNeverBetter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		r := drawTopUp(t)
		before, err := chemistry.CheckTopUp(r)
		require.NoError(t, err)
		what := rapid.SampledFrom([]string{"colder", "less sure", "vaguer volume", "less room", "other glycol", "tap", "oxidiser"}).Draw(t, "what")
		switch what {
		case "colder":
			if r.Protect == nil {
				return
			}
			// Within the tables; beyond them there is an error instead of a verdict.
			r.Protect = celsius(max(-40, float64(*r.Protect)-rapid.Float64Range(0, 10).Draw(t, "kelvin")))
		case "less sure":
			r.MassUncertainty += chemistry.MassFraction(rapid.Float64Range(0, 0.1).Draw(t, "more"))
		case "vaguer volume":
			r.HoldsUncertainty = r.Holds * chemistry.Litre(rapid.Float64Range(0, 0.3).Draw(t, "share"))
			if r.Sealed {
				return // less is filled in then, so another strength comes out: not the same plan made worse
			}
		case "less room":
			if !r.Sealed {
				return
			}
			r.With, r.Room = nil, 0 // nothing to add: only the room counts
			before, err = chemistry.CheckTopUp(withRoom(r, 0.5))
			require.NoError(t, err)
		case "other glycol":
			other := chemistry.EthyleneGlycol
			if r.Fluid == other {
				other = chemistry.PropyleneGlycol
			}
			r.With = append(r.With, concentrate(other))
		case "tap":
			if len(r.With) == 0 {
				return
			}
			r.With[0].Tap = true
		case "oxidiser":
			r.Biocide, r.Inhibitor = chemistry.Oxidiser, chemistry.Azole
		}
		after, err := chemistry.CheckTopUp(r)
		require.NoError(t, err)
		assert.False(t, before.Verdict.Worse(after.Verdict), "%s: %s became %s", what, before.Verdict, after.Verdict)
	})
}

func withRoom(r chemistry.TopUpRequest, room chemistry.Litre) chemistry.TopUpRequest {
	r.Room = room
	return r
}

// TestTopUpEvaporated: a loop that reads stronger than it was filled gets water, and the reason says why.
func TestTopUpEvaporated(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: pg, Mass: mass(0.40), FilledMass: mass(0.36), Inhibitor: chemistry.OAT, Metals: copper(), Holds: 0.50, Room: 0.055, Protect: celsius(-10),
		With: []chemistry.Liquid{concentrate(pg), water()},
	})
	require.NoError(t, err)
	assert.Equal(t, chemistry.Go, v.Verdict)
	require.NotEmpty(t, v.Steps)
	assert.Equal(t, "water", v.Steps[0].What)
	assert.InDelta(t, 36, v.After.Mass.Percent(), 0.3)
	assert.Equal(t, "evaporated", v.Reasons[len(v.Reasons)-1].Rule)
}

// TestTopUpFewestPours: where one liquid does, two are not poured; and what is short is used up before more is drained.
func TestTopUpFewestPours(t *testing.T) {
	t.Parallel()
	eg := chemistry.EthyleneGlycol
	premix := chemistry.Liquid{Name: "premix", Fluid: eg, Mass: 0.40}
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: eg, Mass: mass(0.40), Holds: 1, Room: 0.1, With: []chemistry.Liquid{water(), premix, concentrate(eg)},
	})
	require.NoError(t, err)
	require.NotEmpty(t, v.Steps)
	assert.Equal(t, "premix", v.Steps[0].What)
	assert.Equal(t, "run", v.Steps[1].Do)

	short := concentrate(eg)
	short.Available = 0.05
	v, err = chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: eg, Mass: mass(0.30), Holds: 1, Room: 0.1, Protect: celsius(-11), With: []chemistry.Liquid{short, premix},
	})
	require.NoError(t, err)
	require.Len(t, v.Steps, 5, "%+v", v.Steps)
	assert.Equal(t, "thin first", v.Steps[0].Do, "nothing is drained, and no neat concentrate meets the charge")
}

// TestMixAndTopUpAreOneLaw: what mix recommends against a wall, topup passes with the same liquids at hand: no stop, nothing drained,
// the warm end of the freeze point at or below the wall, before and after. What mix itself stops is no recommendation.
func TestMixAndTopUpAreOneLaw(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(glycols).Draw(t, "fluid")
		wall := celsius(rapid.Float64Range(-35, -0.5).Draw(t, "wall"))
		margin := new(chemistry.CelsiusDelta(rapid.Float64Range(0, 8).Draw(t, "margin")))
		c := chemistry.MassFraction(rapid.Float64Range(0.90, 1).Draw(t, "concentrate"))
		step := chemistry.Kilogram(rapid.SampledFrom([]float64{0.0001, 0.001, 0.005}).Draw(t, "step"))
		m, err := chemistry.Mix(chemistry.MixRequest{
			Fluid: f, Protect: wall, Margin: margin, Make: chemistry.Litre(rapid.Float64Range(0.2, 50).Draw(t, "make")),
			Concentrate: c, Bench: 20, Step: step,
		})
		var outside *chemistry.RangeError
		if errors.As(err, &outside) {
			return // colder than the tables go
		}
		require.NoError(t, err)
		require.GreaterOrEqual(t, float64(m.Result.Mass), float64(m.Target.Mass)-1e-12, "rounding never ends on the warm side")
		for _, w := range m.Warnings {
			require.NotEqual(t, chemistry.Stop, w.Verdict, "%+v", w)
		}
		r := chemistry.TopUpRequest{
			Fluid: f, Mass: &m.Result.Mass, FilledMass: &m.Result.Mass, Holds: m.Total.Volume, Protect: wall, Margin: margin, Step: step,
			Room: m.Total.Volume * chemistry.Litre(rapid.Float64Range(0, 0.4).Draw(t, "room")),
			With: []chemistry.Liquid{{Name: "water", Fluid: chemistry.TreatedWater}, {Name: "concentrate", Fluid: f, Mass: c}},
		}
		v, err := chemistry.CheckTopUp(r)
		require.NoError(t, err)
		assert.NotEqual(t, chemistry.Stop, v.Verdict, "%+v", v.Reasons)
		for _, s := range []chemistry.FractionState{v.Before, v.After} {
			assert.LessOrEqual(t, float64(s.Freeze.Stated.Add(s.Freeze.Uncertainty)), float64(*wall)+1e-9)
		}
		for _, s := range v.Steps {
			assert.NotEqual(t, "drain", s.Do)
		}
		for _, reason := range v.Reasons {
			assert.NotContains(t, []string{"frost-margin", "unreached", "neat-concentrate"}, reason.Rule)
		}
	})
}

// TestRoomIsAccountedFor: room that is not filled is said, a room that no loop has is refused, and a big system gets no neat
// concentrate where water is at hand.
func TestRoomIsAccountedFor(t *testing.T) {
	t.Parallel()
	pg := chemistry.PropyleneGlycol
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid: pg, Mass: mass(0.35), Holds: 0.5, Room: 0.06, Protect: celsius(-10), With: []chemistry.Liquid{water()},
	})
	require.NoError(t, err)
	var unfilled string
	for _, r := range v.Reasons {
		if r.Rule == "room-unfilled" {
			unfilled = r.Text
		}
	}
	assert.Regexp(t, `^\d[\d.]* ml of the room stay free`, unfilled)
	_, err = chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: pg, Mass: mass(0.35), Holds: 0.5, Room: 500, With: []chemistry.Liquid{water()}})
	require.ErrorContains(t, err, "is the unit right")

	v, err = chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: pg, Mass: mass(0.40), Holds: 2000, Room: 50, Step: 0.1, With: []chemistry.Liquid{concentrate(pg), water()}})
	require.NoError(t, err)
	assert.InDelta(t, 0.40, float64(v.After.Mass), 0.0005)
	assert.Equal(t, "thin first", v.Steps[0].Do)
	assert.NotContains(t, rulesOf(v.Reasons), "neat-concentrate")
}

// TestMixAndTopUpAreOneLawByLabel: the same of a bought product by its own label, with two lines of it or none: what mix recommends holds
// at the warm end of the label's interval too, and topup passes it with the bottle and water at hand.
func TestMixAndTopUpAreOneLawByLabel(t *testing.T) {
	t.Parallel()
	bought := bottles(t)
	names := slices.Sorted(maps.Keys(bought))
	rapid.Check(t, func(t *rapid.T) {
		p := bought[rapid.SampledFrom(names).Draw(t, "product")]
		p = label(p, rapid.SampledFrom([]int{2, 4, 8}).Draw(t, "lines"), -1)
		if rapid.IntRange(0, 4).Draw(t, "bare") == 0 {
			p.Pairs = nil
		}
		wall := celsius(rapid.Float64Range(-30, -0.5).Draw(t, "wall"))
		margin := new(chemistry.CelsiusDelta(rapid.Float64Range(0, 8).Draw(t, "margin")))
		m, err := chemistry.Mix(chemistry.MixRequest{Product: &p, Protect: wall, Margin: margin, Make: chemistry.Litre(rapid.Float64Range(0.3, 5).Draw(t, "make")), Bench: 20})
		var outside *chemistry.RangeError
		if errors.As(err, &outside) {
			return // past the label, or colder than the tables go
		}
		require.NoError(t, err)
		warm := m.Result.Freeze.Stated.Add(m.Result.Freeze.Uncertainty)
		require.LessOrEqual(t, float64(warm), float64(*wall)+1e-9, "the warm end: %+v", m.Result)
		require.NotEqual(t, chemistry.Stop, chemistry.Judge(m.Warnings), "%+v", m.Warnings)
		v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
			Fluid: p.Base, Mass: &m.Result.Mass, MassUncertainty: m.MassUncertainty, Holds: m.Total.Volume, Room: m.Total.Volume / 10,
			Protect: wall, Margin: margin, With: []chemistry.Liquid{{Name: "bottle", Product: &p}, water()},
		})
		if errors.As(err, &outside) {
			return
		}
		require.NoError(t, err)
		assert.NotEqual(t, chemistry.Stop, v.Verdict, "%+v", v.Reasons)
	})
}
