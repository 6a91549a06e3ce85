// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"

	"fillmark/chemistry/tables"
)

// OtherLiquids returns the further liquids that are recognised, recorded and checked, and never recommended: what [Mix], [CheckTopUp] and
// [Read] answer for is glycol and water alone.
func OtherLiquids() []Fluid {
	var out []Fluid
	for _, l := range tables.All().Liquids {
		out = append(out, Fluid(l.ID))
	}
	return out
}

// ParseAnyFluid reads what [ParseFluid] reads, and the further liquids by their names.
func ParseAnyFluid(s string) (Fluid, error) {
	f, err := ParseFluid(s)
	if err == nil {
		return f, nil
	}
	if other, e := oneOf[Fluid]("fluid", s, KindFluid); e == nil && other.other() != nil {
		return other, nil
	}
	return "", err
}

// Further reports whether f is one of [OtherLiquids].
func (f Fluid) Further() bool { return f.other() != nil }

// other returns the row of a further liquid, and nil for any other fluid.
func (f Fluid) other() *tables.Liquid {
	rows := tables.All().Liquids
	for i := range rows {
		if rows[i].ID == string(f) {
			return &rows[i]
		}
	}
	return nil
}

// otherUncertainty is how far a freeze point of a further liquid may be off (k = 2): nobody held the coefficients against another
// author's. A judgement, no source.
const otherUncertainty CelsiusDelta = 2

// maxOther is the highest temperature of Melinder's further liquids.
const maxOther Celsius = 40

// OtherProperties is what Melinder's set says of a further liquid.
type OtherProperties struct {
	Fluid        Fluid
	Mass         MassFraction // of the alcohol or salt
	Temperature  Celsius
	Freeze       Freeze
	Density      KilogramPerLitre
	SpecificHeat JoulePerKilogramKelvin
	Conductivity WattPerMetreKelvin
	Viscosity    MillipascalSecond
	Caution      Caution
	Sources      []string
}

// OtherProps returns the [OtherProperties] of a further liquid at t, from its freeze point to 40 °C. A strength for which the set has no
// freeze point, and a temperature outside, is a [*RangeError]; a fluid that is none of [OtherLiquids] an [*InvalidError].
func OtherProps(f Fluid, x MassFraction, t Celsius) (OtherProperties, error) {
	l := f.other()
	if l == nil {
		return OtherProperties{}, &InvalidError{"fluid", string(f), "none of the further liquids"}
	}
	const set = "Melinder 2010, further liquids"
	if !(float64(x) >= l.Low && float64(x) <= l.High) {
		return OtherProperties{}, &RangeError{"mass fraction of " + f.Name(), x.Percent(), 100 * l.Low, 100 * l.High, "mass %", set}
	}
	m := &l.Melinder
	ice := Celsius(melinderFreeze(m, float64(x)))
	if !(t >= ice && t <= maxOther) {
		return OtherProperties{}, &RangeError{"temperature of " + f.Name(), float64(t), float64(ice), float64(maxOther), "°C", set}
	}
	at := func(c *[4][6]float64) float64 { return poly(m, c, float64(x), float64(t)) }
	return OtherProperties{
		Fluid: f, Mass: x, Temperature: t,
		Freeze:       Freeze{Stated: ice, Uncertainty: otherUncertainty, Melinder: ice, ASHRAE: ice},
		Density:      KilogramPerLitre(at(&m.Density) / 1000),
		SpecificHeat: JoulePerKilogramKelvin(at(&m.SpecificHeat)),
		Conductivity: WattPerMetreKelvin(at(&m.Conductivity)),
		Viscosity:    MillipascalSecond(1000 * math.Exp(at(&m.LogViscosity))),
		Caution:      otherCaution(l),
		Sources:      []string{"Melinder, IIR 2010, held against no other author; never for electronics"},
	}, nil
}

func otherCaution(l *tables.Liquid) Caution {
	c := substance(l.Hazard)
	c.Text = l.Caution + " Not for electronics. " + Deferral
	c.OwnerText = "The liquid in this loop is not made for it. Do not touch it, keep it from flames, children and animals, and ask us. " + Deferral
	return c
}
