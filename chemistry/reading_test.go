// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/chemistry"
)

func brix(b float64) *chemistry.Brix                   { return new(chemistry.Brix(b)) }
func index(n float64) *chemistry.RefractiveIndex       { return new(chemistry.RefractiveIndex(n)) }
func kgPerLitre(d float64) *chemistry.KilogramPerLitre { return new(chemistry.KilogramPerLitre(d)) }
func read(t require.TestingT, r chemistry.ReadingRequest) chemistry.Reading {
	out, err := chemistry.Read(r)
	require.NoError(t, err)
	return out
}

// TestReadKnown: readings at 20 °C of strengths that tables give. CRC Handbook 102nd ed. for ethylene glycol, Gerke 2023 for
// propylene glycol, both through ICUMSA 1974; a chiller maker's Brix figures for propylene glycol (common practice).
func TestReadKnown(t *testing.T) {
	t.Parallel()
	eg, pg := chemistry.EthyleneGlycol, chemistry.PropyleneGlycol
	for _, tt := range []struct {
		name string
		r    chemistry.ReadingRequest
		want float64 // mass %
		tol  float64
	}{
		{"crc 20", chemistry.ReadingRequest{Fluid: eg, Index: index(1.3523), Sample: 20}, 20, 0.2},
		{"crc 40 by Brix", chemistry.ReadingRequest{Fluid: eg, Brix: brix(25.27), Sample: 20}, 40, 0.2},
		{"crc 60 by density", chemistry.ReadingRequest{Fluid: eg, Density: kgPerLitre(1.0765), Sample: 20}, 60, 1},
		{"gerke 50", chemistry.ReadingRequest{Fluid: pg, Index: index(1.38933), Sample: 20}, 50, 0.5},
		{"gerke 50 warm", chemistry.ReadingRequest{Fluid: pg, Index: index(1.38671), Sample: 30}, 50, 0.6},
		{"maker 35 vol", chemistry.ReadingRequest{Fluid: pg, Brix: brix(26.5), Sample: 20}, 37, 1.5},
		{"ashrae 40", chemistry.ReadingRequest{Fluid: pg, Freeze: celsius(-20.57), Sample: 20}, 40, 0.1},
		{"water", chemistry.ReadingRequest{Fluid: pg, Brix: brix(-0.1), Sample: 20}, 0, 0.01},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			r := read(t, tt.r)
			assert.InDelta(t, tt.want, r.Mass.Percent(), tt.tol)
			assert.Positive(t, float64(r.MassUncertainty))
			assert.NotEmpty(t, r.Sources)
		})
	}
}

// TestReadWrongScale: 40 % propylene glycol shows 27 to 30 °C of frost on an ethylene glycol scale (the sources differ by 2 K
// there) and protects to 20.6 (trade notes; ASTM D3321: 10 °C or more are possible).
func TestReadWrongScale(t *testing.T) {
	t.Parallel()
	r := read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Freeze: celsius(-28), Scale: chemistry.EthyleneGlycol, Sample: 20})
	assert.InDelta(t, 40, r.Mass.Percent(), 1)
	assert.InDelta(t, -20.6, float64(r.Freeze.Stated), 1)
	assert.Contains(t, strings.Join(r.Warnings, "\n"), "scale of ethylene glycol")
}

// TestReadCompensation: an uncompensated sample is off by 0.16 to 0.24 mass % per kelvin; sugar's compensation leaves 0.3 to
// 1.1 mass % per 10 K (computed from OIV-MA-AS2-02 and Gerke 2023).
func TestReadCompensation(t *testing.T) {
	t.Parallel()
	for _, f := range glycols {
		for _, x := range []chemistry.MassFraction{0.2, 0.3, 0.4, 0.5} {
			n, err := chemistry.IndexAt(f, x, 30)
			require.NoError(t, err)
			ignored := read(t, chemistry.ReadingRequest{Fluid: f, Index: &n, Sample: 20})
			off := (x - ignored.Mass).Percent() / 10
			assert.Greater(t, off, 0.14, "%s %v", f, x)
			assert.Less(t, off, 0.26, "%s %v", f, x)

			// What a sugar refractometer shows at 30 °C, read once as sugar's and once as this glycol's own compensation.
			shown := sugarShows(t, f, x, 30)
			right := read(t, chemistry.ReadingRequest{Fluid: f, Brix: &shown, Sample: 30, Compensation: chemistry.SucroseCompensation})
			assert.InDelta(t, x.Percent(), right.Mass.Percent(), 0.02)
			believed := read(t, chemistry.ReadingRequest{Fluid: f, Brix: &shown, Sample: 30, Compensation: chemistry.GlycolCompensation})
			left := (x - believed.Mass).Percent()
			assert.Greater(t, left, 0.2, "%s %v", f, x)
			assert.Less(t, left, 1.2, "%s %v", f, x)
		}
	}
}

// sugarShows is the Brix that an instrument with sugar's compensation displays, found by bisection on the reading itself.
func sugarShows(t require.TestingT, f chemistry.Fluid, x chemistry.MassFraction, at chemistry.Celsius) chemistry.Brix {
	low, high := chemistry.Brix(0), chemistry.Brix(45)
	for range 60 {
		mid := (low + high) / 2
		r, err := chemistry.Read(chemistry.ReadingRequest{Fluid: f, Brix: &mid, Sample: at, Compensation: chemistry.SucroseCompensation})
		if err != nil && mid < 10 || err == nil && r.Mass < x {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// TestReadFreezeScale: on the right scale the reading is the freeze point, and a warm sample without compensation is stronger than
// the scale says.
func TestReadFreezeScale(t *testing.T) {
	t.Parallel()
	for _, f := range glycols {
		r := read(t, chemistry.ReadingRequest{Fluid: f, Freeze: celsius(-18), Sample: 20})
		assert.InDelta(t, -18, float64(r.Freeze.Stated), 1e-6)
		warm := read(t, chemistry.ReadingRequest{Fluid: f, Freeze: celsius(-18), Sample: 30, Compensation: chemistry.NoCompensation})
		assert.InDelta(t, 1.9, (warm.Mass - r.Mass).Percent(), 0.5, "0.14 to 0.26 mass %% per kelvin")
	}
}

// TestReadRoundTrip: reading → fraction → reading.
func TestReadRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.SampledFrom(glycols).Draw(t, "fluid")
		x := chemistry.MassFraction(rapid.Float64Range(0.01, 0.599).Draw(t, "x"))
		b := props(t, f, x, 20).Brix20
		r := read(t, chemistry.ReadingRequest{Fluid: f, Brix: &b, Sample: 20})
		assert.InDelta(t, float64(b), float64(props(t, f, r.Mass, 20).Brix20), 1e-7)
	})
}

func TestReadRefuses(t *testing.T) {
	t.Parallel()
	eg, pg := chemistry.EthyleneGlycol, chemistry.PropyleneGlycol
	for _, tt := range []struct {
		name string
		r    chemistry.ReadingRequest
		want string
	}{
		{"inhibited by hydrometer", chemistry.ReadingRequest{Fluid: eg, Density: kgPerLitre(1.05), Sample: 20, Inhibited: true}, "more than 5 mass %"},
		{"strong propylene by hydrometer", chemistry.ReadingRequest{Fluid: pg, Density: kgPerLitre(1.0429), Sample: 20}, "more than 5 mass %"},
		{"bad instrument", chemistry.ReadingRequest{Fluid: eg, Brix: brix(20), Sample: 20, Instrument: 5}, "more than 5 mass %"},
		{"two readings", chemistry.ReadingRequest{Fluid: eg, Brix: brix(20), Index: index(1.36), Sample: 20}, "exactly one"},
		{"water", chemistry.ReadingRequest{Fluid: chemistry.TreatedWater, Brix: brix(20), Sample: 20}, "no glycol"},
		{"not a number", chemistry.ReadingRequest{Fluid: eg, Brix: brix(nan()), Sample: 20}, "Brix"},
		{"compensation", chemistry.ReadingRequest{Fluid: eg, Brix: brix(20), Sample: 20, Compensation: "auto"}, "sucrose"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, err := chemistry.Read(tt.r)
			var invalid *chemistry.InvalidError
			require.ErrorAs(t, err, &invalid)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
	_, err := chemistry.Read(chemistry.ReadingRequest{Fluid: eg, Brix: brix(60), Sample: 20})
	var outside *chemistry.RangeError
	require.ErrorAs(t, err, &outside)
}

// TestReadOffTheScale: past the scale and below it the answer says what to do at the bench; a sample thinned 1:1 is taken back.
func TestReadOffTheScale(t *testing.T) {
	t.Parallel()
	eg := chemistry.EthyleneGlycol
	_, err := chemistry.Read(chemistry.ReadingRequest{Fluid: eg, Brix: brix(45), Sample: 20})
	require.ErrorContains(t, err, "45 brix")
	require.ErrorContains(t, err, "1:1 by volume")
	_, err = chemistry.Read(chemistry.ReadingRequest{Fluid: eg, Brix: brix(-0.4), Sample: 20})
	require.ErrorContains(t, err, "re-zero")

	// Mass balance by hand: equal volumes of 50 mass % (1.0659 kg/l, CRC Handbook) and water (0.9982) hold 25.8 mass %.
	thin := props(t, eg, 0.5*1.0659/(1.0659+0.9982), 20).Brix20
	r := read(t, chemistry.ReadingRequest{Fluid: eg, Brix: &thin, Sample: 20, Diluted: true})
	assert.InDelta(t, 50, r.Mass.Percent(), 0.05)
	plain := read(t, chemistry.ReadingRequest{Fluid: eg, Brix: &thin, Sample: 20})
	// Two volumes that are 2 % apart move 50 mass % by 25.8 × 0.9982/1.0659 × 0.02.
	assert.InDelta(t, math.Hypot(float64(plain.MassUncertainty)*50/25.8, 0.258*0.9982/1.0659*0.02), float64(r.MassUncertainty), 1e-4)

	water := read(t, chemistry.ReadingRequest{Fluid: eg, Brix: brix(0), Sample: 20, Diluted: true})
	assert.InDelta(t, 0, water.Mass.Percent(), 0.05)
	assert.Positive(t, float64(water.MassUncertainty), "water stays water, and as sure twice over")
}

// TestReadByLabelMinds: a product by its own label is thinned and warmed like any other sample.
func TestReadByLabelMinds(t *testing.T) {
	t.Parallel()
	p := chemistry.Product{Name: "Tern", Base: chemistry.PropyleneGlycol, Pairs: []chemistry.LabelPair{
		{Strength: 0.2, Freeze: celsius(-7.5), Brix: brix(14)}, {Strength: 0.3, Freeze: celsius(-14), Brix: brix(21)}, {Strength: 0.5, Freeze: celsius(-33), Brix: brix(33)},
	}}
	ask := func(b float64, more func(*chemistry.ReadingRequest)) chemistry.Reading {
		r := chemistry.ReadingRequest{Product: &p, Brix: brix(b), Sample: 20}
		more(&r)
		return read(t, r)
	}
	plain := ask(27, func(*chemistry.ReadingRequest) {})
	thinned := ask(14, func(r *chemistry.ReadingRequest) { r.Diluted = true })
	assert.InDelta(t, 0.40, float64(plain.Product.Strength), 1e-9)
	assert.InDelta(t, 0.40, float64(thinned.Product.Strength), 1e-9, "twice the 20 % that it reads as")
	assert.InDelta(t, float64(plain.Freeze.Stated), float64(thinned.Freeze.Stated), 1e-9)
	assert.Greater(t, float64(thinned.Freeze.Uncertainty), float64(plain.Freeze.Uncertainty))
	warm := ask(27, func(r *chemistry.ReadingRequest) { r.SampleUncertainty, r.Compensation = 5, chemistry.NoCompensation })
	assert.Greater(t, float64(warm.MassUncertainty), float64(plain.MassUncertainty))
	_, err := chemistry.Read(chemistry.ReadingRequest{Product: &p, Volume: new(chemistry.VolumeFraction(0.4)), Sample: 20})
	require.ErrorContains(t, err, "Brix or density where it is read by its label")
}

// TestReadVolumeScale: an instrument's own volume % is before mixing, and on the other glycol's scale it is not taken at its word.
func TestReadVolumeScale(t *testing.T) {
	t.Parallel()
	r := read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Volume: new(chemistry.VolumeFraction(0.40)), Sample: 20})
	assert.InDelta(t, 40, r.Volume.Percent(), 1e-6)
	assert.InDelta(t, 1, r.MassUncertainty.Percent(), 0.1)
	said := read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Volume: new(chemistry.VolumeFraction(0.40)), Sample: 20, Instrument: 1})
	assert.InDelta(t, float64(r.MassUncertainty), float64(said.MassUncertainty), 1e-12, "1 is 1 vol %, not all of it")
	wrong := read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Volume: new(chemistry.VolumeFraction(0.40)), Scale: chemistry.EthyleneGlycol, Sample: 20})
	assert.Less(t, float64(wrong.Volume), 0.39)
}

// TestReadZeroAge: an old zero check widens the answer and never narrows it.
func TestReadZeroAge(t *testing.T) {
	t.Parallel()
	var last chemistry.MassFraction
	for _, age := range []int{0, 1, 20, 45, 100, 400} {
		r := read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Brix: brix(28.4), Sample: 20, ZeroAge: &age})
		assert.GreaterOrEqual(t, r.MassUncertainty, last, "%d days", age)
		last = r.MassUncertainty
	}
}

// The k = 2 interval must hold 95 ± 1 % of the truth. Each case draws errors as normal with half the stated expanded uncertainty,
// makes the instrument show what it would, and asks the program. The program's interval is for a normal error, which holds
// 95.45 %.
func TestReadIntervalHolds(t *testing.T) {
	t.Parallel()
	const draws = 20000
	for _, tt := range []struct {
		name   string
		fluid  chemistry.Fluid
		x      chemistry.MassFraction
		sample float64
		warmth float64 // uncertainty of the sample's temperature, k = 2
	}{
		// Not at 40 mass %: the floor of the freeze point steps up there, and readings beyond it get the wider interval.
		{"ethylene at 20", chemistry.EthyleneGlycol, 0.37, 20, 0.5},
		{"propylene at 20", chemistry.PropyleneGlycol, 0.35, 20, 0.5},
		{"propylene warm", chemistry.PropyleneGlycol, 0.45, 28, 1},
		{"ethylene cold", chemistry.EthyleneGlycol, 0.30, 12, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			rng := rand.New(rand.NewPCG(1, 2))
			fit, slope := 1.0e-4, 0.5e-4 // see chemistry/tables/refraction.csv
			if tt.fluid == chemistry.PropyleneGlycol {
				fit, slope = 3.0e-4, 0.3e-4
			}
			inside, frozen := 0, 0
			for range draws {
				at := tt.sample + rng.NormFloat64()*tt.warmth/2
				n, err := chemistry.IndexAt(tt.fluid, tt.x, chemistry.Celsius(at))
				require.NoError(t, err)
				bend := 0.5 * float64(1-tt.x) * waterBend(at)
				shown := float64(n) + rng.NormFloat64()*bend/2 + rng.NormFloat64()*fit/2 + rng.NormFloat64()*slope/2*(at-20) + rng.NormFloat64()*0.0002/2
				r := read(t, chemistry.ReadingRequest{
					Fluid: tt.fluid, Index: index(shown), Sample: chemistry.Celsius(tt.sample), SampleUncertainty: chemistry.CelsiusDelta(tt.warmth),
				})
				if d := r.Mass - tt.x; d <= r.MassUncertainty && -d <= r.MassUncertainty {
					inside++
				}
				z, err := chemistry.FreezePoint(tt.fluid, tt.x)
				require.NoError(t, err)
				truth := z.Stated + chemistry.Celsius(rng.NormFloat64()*float64(z.Uncertainty)/2)
				if d := chemistry.CelsiusDelta(truth - r.Freeze.Stated); d <= r.Freeze.Uncertainty && -d <= r.Freeze.Uncertainty {
					frozen++
				}
			}
			assert.InDelta(t, 0.95, float64(inside)/draws, 0.01, "strength")
			assert.InDelta(t, 0.95, float64(frozen)/draws, 0.01, "freeze point")
		})
	}
}

// waterBend is by how much the index of water leaves the line of slope -1.059e-4/K through 20 °C (IAPWS 1997).
func waterBend(at float64) float64 {
	const air = 1.000271
	n := func(c float64) float64 { return iapwsIndex(kell(c), c+273.15, 0.5893) / air }
	return n(at) - n(20) + 1.059e-4*(at-20)
}

// kell is Kell's density of water in kg/m³, written down independently of the program.
func kell(t float64) float64 {
	return (999.83952 + 16.945176*t - 7.9870401e-3*t*t - 46.170461e-6*t*t*t + 105.56302e-9*t*t*t*t - 280.54253e-12*t*t*t*t*t) / (1 + 16.879850e-3*t)
}

// TestReadSaysWhatItTakesForGranted: a warm sample in an instrument whose compensation nobody stated.
func TestReadSaysWhatItTakesForGranted(t *testing.T) {
	t.Parallel()
	for name, r := range map[string]chemistry.ReadingRequest{
		"sugar in water":           {Brix: brix(28)},
		"made for this glycol":     {Freeze: celsius(-18)},
		"does not compensate":      {Index: index(1.377)},
		"at the sample's temperat": {Density: kgPerLitre(1.02)},
	} {
		r.Fluid, r.Sample = chemistry.PropyleneGlycol, 26
		assert.Contains(t, strings.Join(read(t, r).Warnings, "\n"), name)
	}
}

// TestReadNothingFreezesAboveZero: a freeze-point scale ends at water, and what reads as water is no trace below it.
func TestReadNothingFreezesAboveZero(t *testing.T) {
	t.Parallel()
	_, err := chemistry.Read(chemistry.ReadingRequest{Fluid: chemistry.EthyleneGlycol, Freeze: celsius(5), Sample: 20})
	var invalid *chemistry.InvalidError
	require.ErrorAs(t, err, &invalid)
	for _, f := range glycols {
		r := read(t, chemistry.ReadingRequest{Fluid: f, Brix: brix(0), Sample: 20})
		assert.GreaterOrEqual(t, float64(r.Mass), 0.0)
		assert.False(t, math.Signbit(float64(r.Mass)))
	}
}

// TestReadInhibitedIsWider: additives refract; ASTM D3321 tells inhibited coolants by refractometer to 1 °C, and the interval of the
// freeze point holds that.
func TestReadInhibitedIsWider(t *testing.T) {
	t.Parallel()
	for _, f := range glycols {
		pure := read(t, chemistry.ReadingRequest{Fluid: f, Brix: brix(25), Sample: 20})
		formulated := read(t, chemistry.ReadingRequest{Fluid: f, Brix: brix(25), Sample: 20, Inhibited: true})
		assert.InDelta(t, float64(pure.Mass), float64(formulated.Mass), 1e-12)
		more := math.Sqrt(math.Pow(float64(formulated.Freeze.Uncertainty), 2) - math.Pow(float64(pure.Freeze.Uncertainty), 2))
		assert.InDelta(t, 1, more, 0.01, f)
	}
}

// TestReadVolumeOnTheOtherScale: a scale in volume % is off by volume %, not by the whole freeze point; and a reading is echoed as it was
// understood, a specific gravity as the density that it stands for.
func TestReadVolumeOnTheOtherScale(t *testing.T) {
	t.Parallel()
	r := read(t, chemistry.ReadingRequest{Fluid: chemistry.EthyleneGlycol, Volume: new(chemistry.VolumeFraction(0.40)), Scale: chemistry.PropyleneGlycol, Sample: 20})
	off := r.Volume.Percent() - 40
	require.InDelta(t, 3.5, off, 1)
	assert.Contains(t, strings.Join(r.Warnings, "\n"), "the figure on it is wrong by "+strconv.Itoa(int(math.Round(off)))+" vol %")

	d, err := chemistry.ParseDensity("SG 1.035")
	require.NoError(t, err)
	r = read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Density: &d, Sample: 21})
	assert.Equal(t, "1.0331 kg/l, sample at 21.0 °C", r.From, "1.035 of water's 0.99820 kg/l at 20 °C (CRC Handbook)")
	r = read(t, chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Brix: brix(20), Sample: 20, Diluted: true})
	assert.Equal(t, "20.0 brix, thinned 1:1, sample at 20.0 °C", r.From)
}
