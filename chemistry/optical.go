// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "fillmark/chemistry/tables"

// optical is what an optical instrument showed, as an index.
type optical struct {
	n            RefractiveIndex // where the instrument puts it: at 20 °C if it compensates, else at the sample's temperature
	u            float64         // of n, instrument alone, k = 2
	fit          float64         // of the index tables that n goes through, k = 2
	more         MassFraction    // of the strength, whatever else is unsure, k = 2
	compensation Compensation
	sources      []string
}

// optical turns a Brix, index or freeze-point reading into an index.
func (r ReadingRequest) optical() (optical, error) {
	o := optical{compensation: r.Compensation, fit: indexFitUncertainty(r.Fluid), sources: []string{sourceIndex(r.Fluid)}}
	usual := NoCompensation
	switch {
	case r.Brix != nil:
		usual = SucroseCompensation
		o.n = BrixIndex(*r.Brix)
		o.u = r.instrument(0.2) * float64(BrixIndex(*r.Brix+0.5)-BrixIndex(*r.Brix-0.5))
	case r.Index != nil:
		o.n, o.u = *r.Index, r.instrument(0.0002)
	default:
		usual = GlycolCompensation
		if err := r.scale(&o); err != nil {
			return optical{}, err
		}
	}
	if o.compensation == "" {
		o.compensation = usual
	}
	return o, nil
}

// scale turns a freeze-point scale back into the index it stands for. On the right scale the index tables cancel; on the other
// glycol's they all count, and so does that nobody knows after which curve the scale was drawn: one mass percent covers either.
func (r ReadingRequest) scale(o *optical) error {
	scale := r.Scale
	if scale == "" {
		scale = r.Fluid
	}
	var x MassFraction
	var err error
	if r.Volume != nil {
		x, err = MassFractionOf(scale, *r.Volume)
		o.sources = []string{"scale in volume %: before mixing at 20 °C, read to 1 vol % (common practice, no source)"}
	} else {
		x, err = MassFractionForFreezePoint(scale, *r.Freeze)
		o.sources = []string{"freeze-point scale: the warmer of Melinder 2010 and ASHRAE, inverted; ASTM D3321 reads to 1 °C"}
	}
	if err == nil {
		err = checkFraction(scale, x)
	}
	if err != nil {
		return err
	}
	o.n = refractiveIndex20(scale, x)
	if r.Volume != nil {
		o.u = r.instrument(1) / 100 * indexPerFraction(scale, x)
	} else {
		o.u = r.instrument(1) / -freezeSlope(scale, x) * indexPerFraction(scale, x)
	}
	if scale == r.Fluid {
		o.fit = 0
		return nil
	}
	o.fit = quadrature(indexFitUncertainty(EthyleneGlycol), indexFitUncertainty(PropyleneGlycol))
	o.more = 0.01
	o.sources = append(o.sources, "the other glycol's scale: "+sourceIndex(EthyleneGlycol), sourceIndex(PropyleneGlycol))
	return nil
}

// byIndex takes an optical reading to the index at the sample's temperature and inverts it.
func (r ReadingRequest) byIndex() (measured, error) {
	o, err := r.optical()
	if err != nil {
		return measured{}, err
	}
	n, at := o.n, r.Sample
	away := float64(r.Sample - 20)
	switch o.compensation {
	case GlycolCompensation:
		at = 20
	case SucroseCompensation:
		n += RefractiveIndex(sucroseSlope(brixOf(n)) * away) // undo what the instrument did for sugar
	}
	water, err := IndexAt(r.Fluid, 0, at)
	if err != nil {
		return measured{}, err
	}
	if n < water && n > water-RefractiveIndex(o.u) {
		n = water // within the reading's uncertainty
	}
	x, err := MassFractionForIndex(r.Fluid, n, at)
	if err != nil {
		return measured{}, err
	}
	var warmth float64 // change of the reading with an error of the sample's temperature, 1/K
	switch o.compensation {
	case SucroseCompensation:
		warmth = localIndexSlope(r.Fluid, x, at) - sucroseSlope(brixOf(n))
	case NoCompensation:
		warmth = localIndexSlope(r.Fluid, x, at)
	}
	total := quadrature(o.u, o.fit,
		indexCoefficientUncertainty(r.Fluid)*away,
		0.5*float64(1-x)*waterBend(at), // how much of water's bend the mixture has is known no better than to half
		warmth*float64(r.SampleUncertainty))
	var additives float64
	if r.Inhibited && r.Freeze == nil && r.Volume == nil {
		// ASTM D3321 tells inhibited coolants by refractometer to 1 °C; a freeze-point scale has that in its reading already.
		additives = 1 / -freezeSlope(r.Fluid, x)
		o.sources = append(o.sources, "additives by refractometer: 1 °C (ASTM D3321)")
	}
	u := quadrature(total/indexPerFraction(r.Fluid, x), float64(o.more), additives)
	return measured{x, MassFraction(u), append(o.sources, sourceSlope)}, nil
}

// indexPerFraction is dn20/dx.
func indexPerFraction(f Fluid, x MassFraction) float64 {
	c := &f.glycol().ND20
	w := float64(x)
	return c[1] + w*(2*c[2]+w*(3*c[3]+w*4*c[4]))
}

// indexFitUncertainty is how far the index fit may be off: ethylene glycol the print of the CRC table and the fit, propylene
// glycol the difference between its two sources.
func indexFitUncertainty(f Fluid) float64 {
	if f == EthyleneGlycol {
		return 1.0e-4
	}
	return 3.0e-4
}

// indexCoefficientUncertainty is the uncertainty of dn/dT in 1/K (see chemistry/tables/refraction.csv).
func indexCoefficientUncertainty(f Fluid) float64 {
	if f == EthyleneGlycol {
		return 0.5e-4
	}
	return 0.3e-4
}

// sucroseSlope is dn/dT in 1/K that an automatic Brix compensation assumes; beyond 50 Brix the last value.
func sucroseSlope(b Brix) float64 {
	c := tables.All().SucroseDNDT
	at := min(max(float64(b), c.X[0]), c.X[len(c.X)-1])
	i := 1
	for i < len(c.X)-1 && c.X[i] < at {
		i++
	}
	share := (at - c.X[i-1]) / (c.X[i] - c.X[i-1])
	return c.Y[i-1] + share*(c.Y[i]-c.Y[i-1])
}
