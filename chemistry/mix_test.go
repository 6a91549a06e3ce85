// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
)

func TestMixReachesTarget(t *testing.T) {
	t.Parallel()
	r, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Protect: new(chemistry.Celsius(-20)), Make: 0.6, Concentrate: 0.95, Bench: 20,
	})
	require.NoError(t, err)
	assert.InDelta(t, -25, float64(r.Target.Freeze.Stated), 1e-6, "wall less the default margin of 5 K")
	assert.InDelta(t, float64(r.Target.Mass), float64(r.Result.Mass), 0.001, "half a gram of 290 g")
	assert.InDelta(t, 600, r.Total.Volume.Millilitres(), 1, "half a gram per part")

	var mass chemistry.Kilogram
	var volume chemistry.Litre
	for _, p := range r.Parts {
		mass += p.Mass
		volume += p.Volume
		grams := p.Mass.Grams()
		assert.InDelta(t, grams, float64(int(grams+0.5)), 1e-9, "whole grams")
	}
	assert.InDelta(t, float64(r.Total.Mass), float64(mass), 1e-12)
	assert.InDelta(t, float64(r.Total.Volume+r.Contraction), float64(volume), 1e-12)
}

// TestMixLeftInLoop: 15 ml of water left in a 90 ml loop costs 40 mass % propylene glycol about 5 K (mass balance).
func TestMixLeftInLoop(t *testing.T) {
	t.Parallel()
	r, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.40)), Make: 0.075, Concentrate: 0.95,
		Bench: 20, Left: 0.015, Step: 0.0001,
	})
	require.NoError(t, err)
	assert.InDelta(t, 0.40, float64(r.Result.Mass), 0.001)
	assert.Greater(t, r.Poured.Mass, r.Target.Mass)
	assert.InDelta(t, 5.4, float64(r.Uncompensated.Freeze.Stated-r.Target.Freeze.Stated), 0.3)
}

func TestMixInfeasible(t *testing.T) {
	t.Parallel()
	_, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.EthyleneGlycol, Mass: new(chemistry.MassFraction(0.50)), Make: 1, Premix: 0.45, Bench: 20,
	})
	var infeasible *chemistry.InfeasibleError
	require.ErrorAs(t, err, &infeasible)
	assert.InDelta(t, 0.45, float64(infeasible.Nearest.Result.Mass), 1e-9)
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
}

func TestMixRefuses(t *testing.T) {
	t.Parallel()
	ok := chemistry.MixRequest{
		Fluid: chemistry.EthyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Make: 1, Concentrate: 0.95, Bench: 20,
	}
	for _, tt := range []struct {
		name   string
		change func(*chemistry.MixRequest)
		field  string // "" for a RangeError
	}{
		{"no fluid", func(r *chemistry.MixRequest) { r.Fluid = "" }, "fluid"},
		{"two targets", func(r *chemistry.MixRequest) { r.Protect = new(chemistry.Celsius(-20)) }, "target"},
		{"no amount", func(r *chemistry.MixRequest) { r.Make = 0 }, "make"},
		{"percent for fraction", func(r *chemistry.MixRequest) { r.Concentrate = 95 }, "concentrate"},
		{"beyond table", func(r *chemistry.MixRequest) { r.Mass = new(chemistry.MassFraction(0.61)) }, ""},
		{"frozen bench", func(r *chemistry.MixRequest) { r.Bench = -5 }, ""},
		{"nothing freezes", func(r *chemistry.MixRequest) { r.Mass, r.Protect = nil, new(chemistry.Celsius(20)) }, "protect"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := ok
			tt.change(&r)
			_, err := chemistry.Mix(r)
			var invalid *chemistry.InvalidError
			var outside *chemistry.RangeError
			if tt.field == "" {
				require.ErrorAs(t, err, &outside)
				return
			}
			require.ErrorAs(t, err, &invalid)
			assert.Equal(t, tt.field, invalid.Field)
		})
	}
}

// TestMixBalances: over random requests the parts are what the scale reads, mass and glycol balance to 1e-9, the volume is met but
// for rounding, and solving and applying returns the target.
func TestMixBalances(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(glycols).Draw(t, "fluid")
		r := chemistry.MixRequest{
			Fluid: f, Mass: mass(rapid.Float64Range(0.02, 0.58).Draw(t, "x")), Bench: chemistry.Celsius(rapid.Float64Range(5, 35).Draw(t, "bench")),
			Make: chemistry.Litre(rapid.Float64Range(0.2, 10).Draw(t, "make")), Concentrate: chemistry.MassFraction(rapid.Float64Range(0.60, 1).Draw(t, "c")),
			Premix: chemistry.MassFraction(rapid.SampledFrom([]float64{0, 0.25, 0.5}).Draw(t, "premix")),
			Step:   0.0001,
		}
		if r.Premix > 0 {
			r.PremixAvailable = chemistry.Litre(rapid.SampledFrom([]float64{0, 0.1, 0.5}).Draw(t, "there is"))
		}
		if rapid.Bool().Draw(t, "rinsed") {
			r.Left = r.Make * chemistry.Litre(rapid.Float64Range(0, 0.03).Draw(t, "left"))
			r.LeftMass = chemistry.MassFraction(rapid.SampledFrom([]float64{0, 0.3}).Draw(t, "left mass"))
		}
		res, err := chemistry.Mix(r)
		var infeasible *chemistry.InfeasibleError
		if errors.As(err, &infeasible) {
			return // what was left cannot be made good with what is at hand
		}
		require.NoError(t, err)
		strength := map[string]chemistry.MassFraction{chemistry.PartConcentrate: r.Concentrate, chemistry.PartPremix: r.Premix}
		var total, glycol, volumes float64
		for _, p := range res.Parts {
			steps := float64(p.Mass / r.Step)
			assert.InDelta(t, math.Round(steps), steps, 1e-6)
			total += float64(p.Mass)
			glycol += float64(p.Mass) * float64(strength[p.Name])
			volumes += float64(p.Volume)
		}
		assert.InDelta(t, float64(res.Total.Mass), total, 1e-9)
		assert.InDelta(t, float64(res.Poured.Mass), glycol/total, 1e-9)
		assert.InDelta(t, float64(res.Total.Volume+res.Contraction), volumes, 1e-9)
		assert.InDelta(t, float64(r.Make), float64(res.Total.Volume), 3*float64(r.Step))
		left, err := chemistry.Density(f, r.LeftMass, r.Bench)
		require.NoError(t, err)
		m := float64(left.Mass(r.Left))
		assert.InDelta(t, (glycol+m*float64(r.LeftMass))/(total+m), float64(res.Result.Mass), 1e-9)
		assert.InDelta(t, float64(res.Target.Mass), float64(res.Result.Mass), 0.001)
	})
}

// TestMixThreeParts: what there is of a premix is used up, and concentrate and water make up the rest.
func TestMixThreeParts(t *testing.T) {
	t.Parallel()
	r, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.EthyleneGlycol, Mass: mass(0.35), Make: 1, Concentrate: 0.93, Premix: 0.30, PremixAvailable: 0.4, Bench: 20,
	})
	require.NoError(t, err)
	require.Len(t, r.Parts, 3)
	assert.InDelta(t, 400, r.Parts[1].Volume.Millilitres(), 1)
	assert.InDelta(t, 35, r.Result.Mass.Percent(), 0.1)
	assert.Equal(t, chemistry.PartDilutionWater, r.Steps[1].What, "water first, concentrate into it")
}

func TestAdjust(t *testing.T) {
	t.Parallel()
	eg := chemistry.EthyleneGlycol
	weaker, err := chemistry.Adjust(chemistry.AdjustRequest{Fluid: eg, Have: 0.5, HaveMass: 0.50, Want: 0.40, Bench: 20})
	require.NoError(t, err)
	require.Len(t, weaker.Parts, 2)
	assert.InDelta(t, 532.5/4, weaker.Parts[1].Mass.Grams(), 1, "mass balance: a quarter of 500 ml at 1.0649 kg/l")
	assert.InDelta(t, 40, weaker.Result.Mass.Percent(), 0.1)

	stronger, err := chemistry.Adjust(chemistry.AdjustRequest{Fluid: eg, Have: 0.5, HaveMass: 0.30, Want: 0.40, Concentrate: 0.95, Bench: 20})
	require.NoError(t, err)
	require.Len(t, stronger.Parts, 2)
	assert.InDelta(t, 519*0.10/0.55, stronger.Parts[0].Mass.Grams(), 1, "mass balance at 1.038 kg/l")
	assert.InDelta(t, 40, stronger.Result.Mass.Percent(), 0.1)

	_, err = chemistry.Adjust(chemistry.AdjustRequest{Fluid: eg, Have: 0.5, HaveMass: 0.30, Want: 0.40, Concentrate: 0.40, Bench: 20})
	require.EqualError(t, err, `concentrate "40.0 mass %": stronger than the 40.0 mass % that is wanted`)
}

// TestConcentrateDensity: the label's density changes the volume only; the estimate without one lies on the line to the pure glycol
// (CRC Handbook: 1113.5 and 1036.1 kg/m³ at 20 °C).
func TestConcentrateDensity(t *testing.T) {
	t.Parallel()
	for f, pure := range map[chemistry.Fluid]float64{chemistry.EthyleneGlycol: 1.1135, chemistry.PropyleneGlycol: 1.0361} {
		d, err := chemistry.LiquidDensity(f, 1, 20)
		require.NoError(t, err)
		assert.InDelta(t, pure, float64(d), 1e-9)
		at60, err := chemistry.Density(f, 0.60, 20)
		require.NoError(t, err)
		d, err = chemistry.LiquidDensity(f, 0.80, 20)
		require.NoError(t, err)
		assert.InDelta(t, (pure+float64(at60))/2, float64(d), 1e-9)
	}
	r := chemistry.MixRequest{Fluid: chemistry.EthyleneGlycol, Mass: mass(0.4), Make: 1, Concentrate: 0.95, Bench: 20}
	estimated, err := chemistry.Mix(r)
	require.NoError(t, err)
	r.ConcentrateDensity = kgPerLitre(1.12)
	labelled, err := chemistry.Mix(r)
	require.NoError(t, err)
	assert.Equal(t, estimated.Parts[0].Mass, labelled.Parts[0].Mass)
	assert.InDelta(t, labelled.Parts[0].Mass.Grams()/1.12, labelled.Parts[0].Volume.Millilitres(), 1e-9)
}

// TestMixSaysItsOwnStrength: what is poured is stronger than what the loop then holds, and the steps name the former: it is
// what the refractometer shows and what the container is labelled with.
func TestMixSaysItsOwnStrength(t *testing.T) {
	t.Parallel()
	m, err := chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.PropyleneGlycol, Mass: mass(0.40), Make: 0.75, Concentrate: 0.95, Bench: 20, Left: 0.15})
	require.NoError(t, err)
	assert.InDelta(t, 0.40, float64(m.Result.Mass), 0.001)
	assert.Greater(t, float64(m.Poured.Mass), 0.47)
	said := 0
	for _, s := range m.Steps {
		if s.Do == "check" || s.Do == "label" {
			assert.Contains(t, s.What, m.Poured.Mass.String(), s.Do)
			said++
		}
	}
	assert.Equal(t, 2, said)
}

// TestMixOfWaterNeedsNoTarget: water has one strength; glycol has none until it is said.
func TestMixOfWaterNeedsNoTarget(t *testing.T) {
	t.Parallel()
	for _, f := range []chemistry.Fluid{chemistry.TreatedWater, chemistry.DeionisedWater} {
		m, err := chemistry.Mix(chemistry.MixRequest{Fluid: f, Make: 0.6, Bench: 20})
		require.NoError(t, err)
		for _, s := range m.Steps {
			assert.NotContains(t, s.What, "refractometer", "no scale reads water with additives")
		}
	}
	var invalid *chemistry.InvalidError
	_, err := chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.EthyleneGlycol, Make: 0.6, Concentrate: 0.95, Bench: 20})
	require.ErrorAs(t, err, &invalid)
	assert.NotContains(t, err.Error(), `""`, "nothing was given, so nothing is quoted")
}

// TestRefusalsSpeakInPercent: a refused strength is shown as it was typed.
func TestRefusalsSpeakInPercent(t *testing.T) {
	t.Parallel()
	_, err := chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.EthyleneGlycol, Mass: mass(0.3), Make: 1, Premix: 0.70, Bench: 20})
	require.ErrorContains(t, err, `premix "70 mass %"`)
	_, _, err = chemistry.Rinses(0.09, 0.09, 0.01)
	require.ErrorContains(t, err, `"90 ml"`)
}

// TestInfeasibleMixSaysHow: the nearest that can be made comes with what to pour for it.
func TestInfeasibleMixSaysHow(t *testing.T) {
	t.Parallel()
	_, err := chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.EthyleneGlycol, Mass: mass(0.55), Make: 1, Premix: 0.50, Bench: 20})
	var infeasible *chemistry.InfeasibleError
	require.ErrorAs(t, err, &infeasible)
	assert.Contains(t, err.Error(), "50.0 mass %, freeze point -33.8 °C, of 1.06")
	assert.Contains(t, err.Error(), "kg premix")
}

// TestAdjustAsksForTheConcentrate: without one a liquid cannot be made stronger.
func TestAdjustAsksForTheConcentrate(t *testing.T) {
	t.Parallel()
	_, err := chemistry.Adjust(chemistry.AdjustRequest{Fluid: chemistry.PropyleneGlycol, Have: 0.8, HaveMass: 0.40, Want: 0.45, Bench: 20})
	require.EqualError(t, err, "concentrate: what is at hand, such as 95%: 45.0 mass % is stronger than what there is")
}

// TestOtherGlycolsDensity: a label whose density is the other glycol's stands for a wrong bottle, and is refused.
func TestOtherGlycolsDensity(t *testing.T) {
	t.Parallel()
	eg, pg := chemistry.EthyleneGlycol, chemistry.PropyleneGlycol
	r := chemistry.MixRequest{Fluid: eg, Mass: mass(0.4), Make: 1, Concentrate: 0.95, ConcentrateDensity: kgPerLitre(1.040), Bench: 20}
	_, err := chemistry.Mix(r)
	require.ErrorContains(t, err, "is that of propylene glycol")
	wrong := concentrate(pg)
	wrong.Density = kgPerLitre(1.11)
	_, err = chemistry.CheckTopUp(chemistry.TopUpRequest{Fluid: pg, Mass: mass(0.35), Holds: 0.5, Room: 0.05, With: []chemistry.Liquid{wrong}})
	require.ErrorContains(t, err, "is that of ethylene glycol")
}

// TestAdjustConcentrate: a bottle of concentrate is thinned all of it, by mass balance: 1 l of 95 % at 1.107 kg/l makes 2.63 kg of 40 %.
func TestAdjustConcentrate(t *testing.T) {
	t.Parallel()
	m, err := chemistry.Adjust(chemistry.AdjustRequest{Fluid: chemistry.EthyleneGlycol, Have: 1, HaveMass: 0.95, Want: 0.40, Bench: 20})
	require.NoError(t, err)
	assert.InDelta(t, 1.107*0.95/0.40, float64(m.Total.Mass), 0.01)
	assert.InDelta(t, 1.107, float64(m.Parts[0].Mass), 0.005)
}

// TestMixOfATrace: glycol that is asked for is no residue, however little it is.
func TestMixOfATrace(t *testing.T) {
	t.Parallel()
	for _, x := range []float64{0.0005, 0.001, 0.004, 0.1} {
		m, err := chemistry.Mix(chemistry.MixRequest{Fluid: chemistry.EthyleneGlycol, Mass: mass(x), Make: 1, Concentrate: 0.95, Bench: 20, Step: 0.0001})
		require.NoError(t, err)
		assert.Equal(t, chemistry.Stop, chemistry.Judge(m.Warnings), "%v", x)
	}
}

// TestBigMixIsPredilution: neat concentrate for a big system is no recipe for a bench; a premix, and a bench's amount, is none of that.
func TestBigMixIsPredilution(t *testing.T) {
	t.Parallel()
	ask := func(r chemistry.MixRequest) (chemistry.Verdict, []string, string) {
		t.Helper()
		r.Fluid, r.Protect, r.Bench = chemistry.PropyleneGlycol, celsius(-20), 20
		m, err := chemistry.Mix(r)
		require.NoError(t, err)
		return chemistry.Judge(m.Warnings), rulesOf(m.Warnings), m.Steps[0].What
	}
	verdict, rules, first := ask(chemistry.MixRequest{Make: 500, Concentrate: 1})
	assert.Equal(t, chemistry.Care, verdict)
	assert.Equal(t, []string{"predilution"}, rules)
	assert.Contains(t, first, "outside the system")
	for _, small := range []chemistry.MixRequest{{Make: 0.5, Concentrate: 1}, {Make: 99, Concentrate: 1}, {Make: 500, Premix: 0.50}} {
		verdict, rules, _ := ask(small)
		assert.Equal(t, chemistry.Go, verdict)
		assert.Empty(t, rules)
	}
}

// TestDensityOfNeitherGlycol: a label's density that fits neither glycol is refused as the other's is; additives, up to 2 % more, pass.
func TestDensityOfNeitherGlycol(t *testing.T) {
	t.Parallel()
	ask := func(f chemistry.Fluid, d float64) error {
		_, err := chemistry.Mix(chemistry.MixRequest{Fluid: f, Mass: mass(0.4), Make: 1, Concentrate: 0.95, ConcentrateDensity: kgPerLitre(d), Bench: 20})
		return err
	}
	require.ErrorContains(t, ask(chemistry.PropyleneGlycol, 1.07), "neither")
	require.ErrorContains(t, ask(chemistry.PropyleneGlycol, 1.11), "that of ethylene glycol")
	require.ErrorContains(t, ask(chemistry.EthyleneGlycol, 1.20), "neither")
	require.NoError(t, ask(chemistry.PropyleneGlycol, 1.055))
	require.NoError(t, ask(chemistry.EthyleneGlycol, 1.13))
}

// A full loop at the bench is one at its hottest: what is left out is what the
// liquid grows by, the tables' densities at both ends deciding.
func TestRoomToExpand(t *testing.T) {
	r := chemistry.MixRequest{Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(.4)), Bench: 20}
	room := r.RoomToExpand(.5, 60)
	cold, err := chemistry.LiquidDensity(r.Fluid, .4, 20)
	require.NoError(t, err)
	hot, err := chemistry.LiquidDensity(r.Fluid, .4, 60)
	require.NoError(t, err)
	assert.InDelta(t, .5, float64(.5-room)*float64(cold)/float64(hot), 1e-12)
	assert.Greater(t, float64(room), .005)
	r.Mass = new(chemistry.MassFraction(.7))
	assert.Zero(t, r.RoomToExpand(.5, 60), "the mix itself says why there is none")
}
