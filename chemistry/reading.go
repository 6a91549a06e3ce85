// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"errors"
	"math"
)

// Compensation is how a refractometer corrects for the sample's temperature.
type Compensation string

// The compensations. The zero value "" means [SucroseCompensation] for Brix, [NoCompensation] for an index and
// [GlycolCompensation] for a freeze-point scale.
const (
	NoCompensation      Compensation = "none"
	SucroseCompensation Compensation = "sucrose" // automatic, as if the sample were sugar in water
	GlycolCompensation  Compensation = "glycol"  // automatic, made for this glycol
)

// MaxReadingUncertainty is the uncertainty (k = 2) beyond which a reading is refused: five mass percent are 5 to 9 K of frost.
const MaxReadingUncertainty MassFraction = 0.05

// ReadingRequest is what an instrument showed. Exactly one of Brix, Index, Density, Freeze and Volume is set.
type ReadingRequest struct {
	Fluid   Fluid
	Product *Product // read by its own label; nil: as glycol in water
	Brix    *Brix
	Index   *RefractiveIndex
	Density *KilogramPerLitre // hydrometer
	Freeze  *Celsius          // freeze-point scale of a glycol refractometer
	Volume  *VolumeFraction   // scale in volume % of a glycol refractometer
	Scale   Fluid             // glycol of those two scales; "": the same as Fluid

	Sample            Celsius // temperature of the sample
	SampleUncertainty CelsiusDelta
	Compensation      Compensation
	// Instrument is the uncertainty of the instrument (k = 2) in the unit of the reading: Brix, index, kg/l, K or volume %. 0: 0.2 Brix,
	// 0.0002, 0.001 kg/l, 1 K or 1 vol % (1 K after ASTM D3321, the others common practice).
	Instrument float64
	// ZeroAge is the number of days since the zero was checked with distilled water; nil: taken as today, and said so.
	ZeroAge *int
	// Diluted says that the sample was thinned 1:1 by volume with distilled water before it was read.
	Diluted   bool
	Inhibited bool // a formulated product: its additives weigh and refract too; its own label, where it is given, holds them already
}

// Reading is what a reading means.
type Reading struct {
	Mass            MassFraction
	MassUncertainty MassFraction // k = 2
	Volume          VolumeFraction
	Freeze          Freeze // its uncertainty holds that of the reading
	Index20         RefractiveIndex
	Product         *ProductState // nil without a product
	From            string        // the reading as it was understood: "1.0331 kg/l, sample at 20.0 °C"
	Warnings        []string
	Sources         []string
}

// Read works out the strength behind a reading, with its uncertainty (k = 2, GUM first order) from instrument, zero check, sample
// temperature and table. A reading that no strength from 0 to 60 mass % gives is a [*RangeError]; one that cannot tell the
// strength to [MaxReadingUncertainty], and impossible input, is an [*InvalidError].
func Read(r ReadingRequest) (Reading, error) {
	if r.Product != nil {
		r.Fluid = r.Product.Base
	}
	if err := r.validate(); err != nil {
		return Reading{}, err
	}
	out, err := r.mean()
	out.From = r.shown()
	if r.Diluted {
		out.From += ", thinned 1:1"
	}
	out.From += ", sample at " + r.Sample.String()
	return out, err
}

// mean is what a request that can be answered means.
func (r ReadingRequest) mean() (Reading, error) {
	if r.Product != nil {
		return r.byProduct()
	}
	var (
		m   measured
		err error
	)
	if r.Density != nil {
		m, err = r.byDensity()
	} else {
		m, err = r.byIndex()
	}
	if err != nil {
		return Reading{}, r.endOfScale(err)
	}
	if r.Diluted {
		if m, err = r.undilute(m); err != nil {
			return Reading{}, err
		}
	}
	if m.u > MaxReadingUncertainty {
		return Reading{}, &InvalidError{"reading", r.shown(), "cannot tell the strength: " + m.x.String() + " ± " + fixed(m.u.Percent(), 1) +
			" mass %, and more than 5 mass % is no answer; use a refractometer, let the sample come to 20 °C, check the zero with distilled water"}
	}
	m.x = max(0, m.x) // the fit leaves a trace below water
	out := Reading{Mass: m.x, MassUncertainty: m.u, Volume: volumeFraction(r.Fluid, m.x), Freeze: freeze(r.Fluid, m.x), Index20: refractiveIndex20(r.Fluid, m.x)}
	out.Freeze.Uncertainty = CelsiusDelta(math.Hypot(float64(out.Freeze.Uncertainty), freezeSlope(r.Fluid, m.x)*float64(m.u)))
	out.Warnings, out.Sources = r.warnings(out), append(m.sources, sourceFreeze, sourceVolume)
	return out, nil
}

// endOfScale says at the bench what a reading outside the tables asks for.
func (r ReadingRequest) endOfScale(err error) error {
	var outside *RangeError
	if !errors.As(err, &outside) || r.Brix == nil && r.Index == nil || outside.Unit != "nD" {
		return err
	}
	said := *outside
	if r.Brix != nil {
		said = RangeError{"reading", float64(*r.Brix), float64(brixOf(RefractiveIndex(outside.Min))), float64(brixOf(RefractiveIndex(outside.Max))), "brix", ""}
	}
	if outside.Value < outside.Min {
		said.Table = "below water: re-zero the instrument with distilled water at the sample's temperature, and read again"
	} else {
		said.Table = "past 60 mass %: mix the sample 1:1 by volume with distilled water, read again, and say that it is diluted"
	}
	return &said
}

// undilute takes the strength of a sample thinned 1:1 by volume back to the sample's.
func (r ReadingRequest) undilute(m measured) (measured, error) {
	x, ratio := 2*m.x, 1.0 // masses of water and of the sample
	for range 30 {
		d, err := LiquidDensity(r.Fluid, min(1, x), max(r.Sample, 0))
		if err != nil {
			return measured{}, err
		}
		ratio = waterDensity(float64(max(r.Sample, 0))) / 1000 / float64(d)
		x = m.x * MassFraction(1+ratio)
	}
	if err := checkFraction(r.Fluid, x); err != nil {
		return measured{}, err
	}
	m.u = MassFraction(quadrature(float64(m.u)*(1+ratio), float64(m.x)*ratio*thinnedOff))
	m.x, m.sources = x, append(m.sources, sourceThinned)
	return m, nil
}

// thinnedOff is how far the two volumes of a sample that was thinned 1:1 may be apart (k = 2).
const thinnedOff = 0.02

const sourceThinned = "thinned 1:1 by volume: mass balance, the two volumes measured alike to 2 % (common practice, no source)"

// measured is a strength with its uncertainty (k = 2).
type measured struct {
	x, u    MassFraction
	sources []string
}

func (r ReadingRequest) validate() error {
	if err := r.Fluid.check(); err != nil {
		return err
	}
	if !r.Fluid.IsGlycol() {
		return noGlycol(r.Fluid)
	}
	given := 0
	for _, set := range []bool{r.Brix != nil, r.Index != nil, r.Density != nil, r.Freeze != nil, r.Volume != nil} {
		if set {
			given++
		}
	}
	if given != 1 {
		return &InvalidError{"reading", "", "say exactly one of Brix, refractive index, density, freeze point and volume %"}
	}
	if r.Scale != "" && !r.Scale.IsGlycol() {
		return &InvalidError{"scale", string(r.Scale), "a freeze-point scale is made for eg or pg"}
	}
	switch r.Compensation {
	case "", NoCompensation, SucroseCompensation, GlycolCompensation:
	default:
		return &InvalidError{"compensation", string(r.Compensation), "say none, sucrose or glycol"}
	}
	checks := []bound{
		{"sample temperature", float64(r.Sample), -50, 100, "°C", "the sample's temperature, -50 to 100 °C"},
		{"sample temperature uncertainty", float64(r.SampleUncertainty), 0, 20, "K", "0 to 20 K"},
		{"instrument uncertainty", r.Instrument, 0, 100, "", "0 or more, in the unit of the reading"},
	}
	if r.Brix != nil {
		checks = append(checks, bound{"Brix", float64(*r.Brix), -5, 100, "", "-5 to 100"})
	}
	if r.Index != nil {
		checks = append(checks, bound{"refractive index", float64(*r.Index), 1.3, 1.55, "", "1.3 to 1.55"})
	}
	if r.Density != nil {
		checks = append(checks, bound{"density", float64(*r.Density), 0.5, 2, "kg/l", "0.5 to 2 kg/l"})
	}
	if r.Volume != nil {
		checks = append(checks, bound{"volume %", r.Volume.Percent(), 0, 60, "vol %", "0 to 60 vol %"})
	}
	if r.Freeze != nil {
		checks = append(checks, bound{"freeze point", float64(*r.Freeze), -100, 1, "°C", "a freeze point, -100 to 1 °C: water freezes at 0 °C"})
	}
	if r.ZeroAge != nil {
		checks = append(checks, bound{"zero check age", float64(*r.ZeroAge), 0, 36500, "days", "days since the zero was checked, 0 or more"})
	}
	return checkBounds(checks)
}

// instrument returns the instrument's uncertainty (k = 2), widened when its zero was not checked lately: for every 30 days begun
// after the first day one more of its own is added in quadrature, up to four. The rule is common practice without source;
// ASTM D3321 asks for a check before every use.
func (r ReadingRequest) instrument(usual float64) float64 {
	u := r.Instrument
	if u == 0 {
		u = usual
	}
	if r.ZeroAge == nil || *r.ZeroAge <= 1 {
		return u
	}
	periods := min(4, (*r.ZeroAge+29)/30)
	return u * math.Sqrt(float64(1+periods))
}

// byDensity inverts a hydrometer reading.
func (r ReadingRequest) byDensity() (measured, error) {
	x, err := MassFractionForDensity(r.Fluid, *r.Density, r.Sample)
	if err != nil {
		return measured{}, err
	}
	const h = 0.002
	low, high := max(0, x-h), min(MaxMassFraction, x+h)
	slope := float64(density(r.Fluid, high, r.Sample)-density(r.Fluid, low, r.Sample)) / float64(high-low)
	if slope <= 0 {
		return measured{}, &InvalidError{"reading", r.shown(), "the density passes its maximum here and cannot tell the strength; use a refractometer"}
	}
	d := float64(*r.Density)
	additives := 0.0
	if r.Inhibited {
		additives = accuracyOf(r.Fluid, true, r.Sample).density * d // they weigh more than glycol and water
	}
	warmth := float64(density(r.Fluid, x, min(r.Sample+1, MaxTemperature))-density(r.Fluid, x, r.Sample)) * float64(r.SampleUncertainty)
	total := quadrature(r.instrument(0.001), accuracyOf(r.Fluid, false, r.Sample).density*d, additives, warmth)
	return measured{x, MassFraction(total / slope), []string{sourceDensity, sourceJoin}}, nil
}

// offScale is how far the figure on the other glycol's scale is wrong.
func (r ReadingRequest) offScale(means Reading) string {
	if r.Volume != nil {
		return fixed(math.Abs((means.Volume-*r.Volume).Percent()), 0) + " vol %"
	}
	return fixed(math.Abs(float64(*r.Freeze-means.Freeze.Stated)), 0) + " K"
}

// warnings say what the numbers cannot.
func (r ReadingRequest) warnings(means Reading) []string {
	w := []string{"if the loop may hold both glycols no scale is right: drain and refill (ASTM D3321)"}
	add := func(when bool, text string) {
		if when {
			w = append(w, text)
		}
	}
	away := math.Abs(float64(r.Sample - 20))
	if r.Scale != "" && r.Scale != r.Fluid && (r.Freeze != nil || r.Volume != nil) {
		w = append(w, "read on the scale of "+r.Scale.Name()+": the figure on it is wrong by "+r.offScale(means)+" (ASTM D3321); the strength given here is worked out for "+r.Fluid.Name())
	}
	add(r.Freeze != nil && r.Scale == "", "assumes the freeze-point scale is that of "+r.Fluid.Name()+"; on the other glycol's scale the same figure would be off by several kelvin (ASTM D3321)")
	add(r.Inhibited, "inhibited coolant: additives and dye read as up to 4 mass % more glycol on a hydrometer and about 1 °C more frost on a refractometer; the uncertainty holds it")
	add(!r.Inhibited, "figures are for glycol and water alone; additives and dye read as more glycol")
	add(away > 5, "the sample is "+fixed(away, 0)+" K away from 20 °C: let it come to room temperature, compensated or not")
	add(away > 0.5 && r.Compensation == "", "assumes that the instrument "+r.usualCompensation())
	add(r.ZeroAge == nil, "assumes that the zero was checked with distilled water today")
	add(r.ZeroAge != nil && *r.ZeroAge > 1, "the zero was last checked some time ago: the uncertainty is widened; check it with distilled water before use")
	add(r.Brix != nil, "a Brix scale is made for sugar: the figure is no percentage of glycol")
	add(r.Density != nil && r.Fluid == PropyleneGlycol, "the density of propylene glycol has a maximum near 70 mass %: above 50 mass % a hydrometer is of no use")
	return w
}

// usualCompensation says in words what is taken for granted of an instrument whose compensation is not stated.
func (r ReadingRequest) usualCompensation() string {
	switch {
	case r.Brix != nil:
		return "compensates for temperature as if the sample were sugar in water"
	case r.Freeze != nil, r.Volume != nil:
		return "compensates for temperature, made for this glycol"
	case r.Index != nil:
		return "does not compensate for temperature"
	}
	return "reads the density at the sample's temperature"
}

// shown repeats the reading.
func (r ReadingRequest) shown() string {
	switch {
	case r.Brix != nil:
		return r.Brix.String()
	case r.Index != nil:
		return r.Index.String()
	case r.Density != nil:
		return r.Density.String()
	case r.Volume != nil:
		return r.Volume.String()
	}
	return r.Freeze.String()
}

// quadrature is the root of the sum of squares.
func quadrature(parts ...float64) float64 {
	var sum float64
	for _, p := range parts {
		sum += p * p
	}
	return math.Sqrt(sum)
}
