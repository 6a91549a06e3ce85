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

// parsers are all readers of typed quantities. Each returns the value as a number, what String prints, and an error.
var parsers = map[string]func(string) (float64, string, error){
	"celsius":  parser(chemistry.ParseCelsius),
	"delta":    parser(chemistry.ParseCelsiusDelta),
	"litre":    parser(chemistry.ParseLitre),
	"kilogram": parser(chemistry.ParseKilogram),
	"mass":     parser(chemistry.ParseMassPercent),
	"volume":   parser(chemistry.ParseVolumePercent),
	"brix":     parser(chemistry.ParseBrix),
	"index":    parser(chemistry.ParseRefractiveIndex),
	"density":  parser(chemistry.ParseDensity),
}

func parser[T interface {
	~float64
	String() string
}](parse func(string) (T, error)) func(string) (float64, string, error) {
	return func(s string) (float64, string, error) {
		v, err := parse(s)
		return float64(v), v.String(), err
	}
}

// FuzzParse: any text is either read as a finite number, whose print is read again as the same print, or refused by one
// InvalidError that repeats it.
func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"-20C", "68F", "20K", "5K", "600ml", "1.2l", "120g", "40%", "40 vol %", "28.4brix", "1.3790", "1035", "1.035 kg/l",
		"", "NaN", "inf", "1e308C", "-1e-400l", "1,5l", "1,500ml", "−5 °C", "0x10C", "+.5%", "1e5", "e5g", "5\x00g", "1_000g", "½l",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for name, parse := range parsers {
			v, printed, err := parse(s)
			if err != nil {
				var invalid *chemistry.InvalidError
				require.ErrorAs(t, err, &invalid, name)
				require.Equal(t, s, invalid.Value)
				require.NotEmpty(t, invalid.Reason)
				continue
			}
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0), name)
			_, again, err := parse(printed)
			require.NoError(t, err, "%s: %q printed as %q", name, s, printed)
			require.Equal(t, printed, again, name)
		}
	})
}

// FuzzParseWords: names of fluids, metals, additives, agents and liquids are read or refused, never anything else.
func FuzzParseWords(f *testing.F) {
	for _, s := range []string{"eg", "PG", "propylene glycol", "water", "di", "", "concentrate:95%", "premix:", "eg:400%", "tap", ":", "pg:40 vol %", "copper", "none", "OAT"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		check := func(err error) {
			var invalid *chemistry.InvalidError
			if err != nil && !errors.As(err, &invalid) {
				t.Fatalf("%q: %v", s, err)
			}
		}
		fluid, err := chemistry.ParseFluid(s)
		check(err)
		require.Equal(t, err == nil, fluid.Valid())
		_, err = chemistry.ParseMetal(s)
		check(err)
		_, err = chemistry.ParseInhibitor(s)
		check(err)
		_, err = chemistry.ParseBiocide(s)
		check(err)
		_, err = chemistry.ParseAgent(s)
		check(err)
		_, err = chemistry.ParseHardness(s)
		check(err)
		for _, base := range append(chemistry.Fluids(), "") {
			l, err := chemistry.ParseLiquid(s, base)
			check(err)
			if err == nil {
				require.True(t, l.Fluid.Valid() || l.Fluid == "" && !base.IsGlycol())
				require.True(t, l.Mass >= 0 && l.Mass <= 1)
			}
		}
	})
}

// TestParsePrint: what String prints is what Parse reads, to the printed decimals.
func TestParsePrint(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		type quantity struct {
			parser string
			value  float64
			print  string
			half   float64 // half of the last printed digit
		}
		c := chemistry.Celsius(rapid.Float64Range(-200, 900).Draw(t, "c"))
		l := chemistry.Litre(rapid.Float64Range(0, 1000).Draw(t, "l"))
		m := chemistry.Kilogram(rapid.Float64Range(0, 1000).Draw(t, "m"))
		x := chemistry.MassFraction(rapid.Float64Range(0, 1).Draw(t, "x"))
		b := chemistry.Brix(rapid.Float64Range(0, 94).Draw(t, "b"))
		d := chemistry.KilogramPerLitre(rapid.Float64Range(0.6, 1.9).Draw(t, "d"))
		for _, q := range []quantity{
			{"celsius", float64(c), c.String(), 0.0501},
			{"delta", float64(c), chemistry.CelsiusDelta(c).String(), 0.0501},
			{"litre", float64(l), l.String(), 0.00051},
			{"kilogram", float64(m), m.String(), 0.00051},
			{"mass", float64(x), x.String(), 0.000501},
			{"volume", float64(x), chemistry.VolumeFraction(x).String(), 0.000501},
			{"brix", float64(b), b.String(), 0.0501},
			{"density", float64(d), d.String(), 0.0000501},
		} {
			v, again, err := parsers[q.parser](q.print)
			require.NoError(t, err, q.print)
			assert.InDelta(t, q.value, v, q.half, q.print)
			assert.Equal(t, q.print, again)
		}
	})
}

// TestNonsense: whatever numbers come in, an answer is finite or there is an error; nothing panics.
func TestNonsense(t *testing.T) {
	t.Parallel()
	any := rapid.OneOf(rapid.Float64(), rapid.Float64Range(-100, 100), rapid.SampledFrom([]float64{0, 1, 0.6, math.NaN(), math.Inf(1), math.Inf(-1), 1e308, -1e308}))
	finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(append(chemistry.Fluids(), "", "oil")).Draw(t, "fluid")
		n := func(name string) float64 { return any.Draw(t, name) }
		if p, err := chemistry.Props(f, chemistry.MassFraction(n("x")), chemistry.Celsius(n("t"))); err == nil {
			for _, v := range []float64{float64(p.Density), float64(p.SpecificHeat), float64(p.Conductivity), float64(p.Viscosity), float64(p.Freeze.Stated), float64(p.Brix20), float64(p.Volume)} {
				assert.True(t, finite(v))
			}
		}
		if x, err := chemistry.MassFractionForFreezePoint(f, chemistry.Celsius(n("freeze"))); err == nil {
			assert.True(t, x >= 0 && x <= chemistry.MaxMassFraction)
		}
		r := chemistry.MixRequest{
			Fluid: f, Protect: celsius(n("protect")), Margin: new(chemistry.CelsiusDelta(n("margin"))), Make: chemistry.Litre(n("make")),
			Concentrate: chemistry.MassFraction(n("c")), Premix: chemistry.MassFraction(n("p")), PremixAvailable: chemistry.Litre(n("pa")),
			Bench: chemistry.Celsius(n("bench")), Step: chemistry.Kilogram(n("step")), Left: chemistry.Litre(n("left")), LeftMass: chemistry.MassFraction(n("lm")),
		}
		if m, err := chemistry.Mix(r); err == nil {
			assert.True(t, finite(float64(m.Result.Mass)) && finite(float64(m.Total.Volume)) && finite(float64(m.Contraction)))
		}
		q := chemistry.TopUpRequest{
			Fluid: f, Mass: mass(n("tm")), MassUncertainty: chemistry.MassFraction(n("u")), Holds: chemistry.Litre(n("holds")), Room: chemistry.Litre(n("room")),
			Protect: celsius(n("wall")), At: celsius(n("at")), Hottest: celsius(n("hot")), PH: new(n("ph")), Sealed: rapid.Bool().Draw(t, "sealed"),
			With: []chemistry.Liquid{{Name: "a", Fluid: f, Mass: chemistry.MassFraction(n("lx")), Available: chemistry.Litre(n("la"))}, water()},
		}
		if v, err := chemistry.CheckTopUp(q); err == nil {
			assert.True(t, finite(float64(v.After.Mass)) && finite(float64(v.After.Freeze.Stated)) && finite(float64(v.Expansion)))
		}
		if v, err := chemistry.Read(chemistry.ReadingRequest{Fluid: f, Brix: brix(n("brix")), Sample: chemistry.Celsius(n("sample")), Instrument: n("instrument")}); err == nil {
			assert.True(t, finite(float64(v.Mass)) && finite(float64(v.MassUncertainty)))
		}
		_, _, err := chemistry.Rinses(chemistry.Litre(n("rl")), chemistry.Litre(n("rv")), n("rr"))
		_ = err
		if l, err := chemistry.PermeationLoss(chemistry.LossRequest{
			Tubes: []chemistry.Tube{{Material: "EPDM", Length: n("len"), Inner: n("in"), Outer: n("out")}}, Fluid: f, Mass: chemistry.MassFraction(n("lm2")),
			Coolant: chemistry.Celsius(n("lc")), Air: chemistry.Celsius(n("lair")), Humidity: n("rh"), Duty: n("duty"),
		}); err == nil {
			assert.True(t, finite(l.GramsPerYear))
		}
	})
}
