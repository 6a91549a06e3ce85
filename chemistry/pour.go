// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"slices"
)

// FilledLoop is what a loop asks of the liquid in it, as far as it is known.
type FilledLoop struct {
	Sealed bool
	Holds  Litre // the whole loop; 0: not known
	// HoldsUncertainty is of Holds, k = 2: nothing is called too much that may go in, and no room is counted on that may not be there.
	HoldsUncertainty Litre
	Filled           Litre // liquid in it after the fill; 0: not known
	// Wall is the coldest wetted wall in use, storage or transport; nil where it is not known, or where NoFrost says that nothing
	// can freeze.
	Wall            *Celsius
	NoFrost         bool
	MassUncertainty MassFraction // of the strength, k = 2
	Hottest         *Celsius     // nil: DefaultHottest
	MetalsKnown     bool         // the wetted metals are on record
}

// tell adds to the facts what the loop asks of its content.
func (l FilledLoop) tell(f *facts, c Contents) error {
	f.noMetals, f.noVolume = !l.MetalsKnown, l.Holds == 0
	if c.Fluid == "" || c.Fluid.other() != nil || c.Mass == nil && c.Fluid.IsGlycol() || f.after.Mass > MaxMassFraction {
		return nil // the rules about unknown, strange and too strong liquids speak
	}
	strength := MassFraction(0)
	if c.Mass != nil {
		strength = *c.Mass
	}
	f.planned, f.sealed, f.noFrost = true, l.Sealed, l.NoFrost
	if !l.NoFrost {
		f.wall = l.Wall
	}
	f.after = uncertain(c.Fluid, strength, l.MassUncertainty)
	f.badEnd = f.after.Freeze.Stated.Add(f.after.Freeze.Uncertainty)
	f.target = f.badEnd // a margin is a wish for a mix; what is poured is held against the wall itself
	if l.Holds == 0 || l.Filled == 0 {
		f.sealed = false
		return nil
	}
	f.over = max(0, l.Filled-l.Holds-l.HoldsUncertainty)
	f.room = max(0, l.Holds-l.HoldsUncertainty-l.Filled)
	expansion, err := expansionOf(c.Fluid, strength, l.Filled, DefaultAt, l.Hottest)
	f.expansion = expansion
	return err
}

// expansionOf is how much more room a volume of liquid takes at its hottest.
func expansionOf(fluid Fluid, x MassFraction, volume Litre, at Celsius, hottest *Celsius) (Litre, error) {
	hot := max(DefaultHottest, at)
	if hottest != nil {
		hot = max(*hottest, at)
	}
	cold, err := Density(fluid, x, at)
	if err != nil {
		return 0, err
	}
	warm, err := Density(fluid, x, hot)
	if err != nil {
		return 0, err
	}
	return volume * Litre(cold/warm-1), nil
}

// uncertain is a strength with its uncertainty carried to the freeze point (GUM, first order).
func uncertain(fluid Fluid, x, u MassFraction) FractionState {
	s := state(fluid, x)
	if fluid.IsGlycol() {
		s.Freeze.Uncertainty = CelsiusDelta(math.Hypot(float64(s.Freeze.Uncertainty), freezeSlope(fluid, x)*float64(u)))
	}
	return s
}

// Pour is one liquid and how much of it was poured.
type Pour struct {
	Liquid
	Volume Litre
}

// PourRequest asks what becomes of a loop into which liquids were poured. Of the top-up only what is in the loop and what the
// loop asks counts: its Room and With are not read.
type PourRequest struct {
	TopUpRequest
	Drained     Litre // taken out first
	Capacity    Litre // what the whole loop holds; 0: not known
	MetalsKnown bool
	Poured      []Pour
}

// CheckPour returns every rule that speaks about liquids that are poured into a loop as they are, and the strength after them: by
// the same rules as [CheckTopUp], which chooses the amounts itself. The state is zero where the strength before is unknown or
// liquids meet that must not. Errors are those of CheckTopUp.
func CheckPour(r PourRequest) ([]Reason, FractionState, error) {
	r.With, r.Room = nil, 0
	for _, p := range r.Poured {
		r.With = append(r.With, p.Liquid)
	}
	r.TopUpRequest = r.withDefaults()
	if err := r.validate(); err != nil {
		return nil, FractionState{}, err
	}
	if err := r.pourByLabel(); err != nil {
		return nil, FractionState{}, err
	}
	r.Poured = slices.Clone(r.Poured)
	for i := range r.Poured {
		r.Poured[i].Liquid = r.With[i]
	}
	f := r.facts()
	f.noMetals, f.noVolume = !r.MetalsKnown, r.Capacity == 0
	if r.Fluid == "" || f.noMass || f.clash() {
		return f.reasons(), FractionState{}, nil
	}
	after, volume, err := r.balance()
	if err != nil {
		return nil, FractionState{}, err
	}
	f.after, f.glycol, f.planned = after, r.Fluid.IsGlycol() && after.Mass > 0, true
	f.badEnd = after.Freeze.Stated.Add(after.Freeze.Uncertainty)
	f.target = f.badEnd
	if r.NoFrost || after.Mass > MaxMassFraction { // beyond the tables nothing is known of its frost, and the rule about too much says so
		f.wall, f.noFrost = nil, true
	}
	f.sealed = r.Sealed && r.Capacity > 0
	if r.Capacity > 0 {
		f.over, f.room = max(0, volume-r.Capacity-r.HoldsUncertainty), max(0, r.Capacity-volume)
		if f.expansion, err = expansionOf(r.Fluid, min(after.Mass, MaxMassFraction), volume, *r.At, r.Hottest); err != nil {
			return nil, FractionState{}, err
		}
	}
	for _, d := range r.Doses {
		f.doses = append(f.doses, d.Diluted(float64((r.Holds-r.Drained)/volume)))
	}
	return f.reasons(), after, nil
}

// balance is the strength and the volume after the pour, by the masses of glycol and water.
func (r PourRequest) balance() (FractionState, Litre, error) {
	strength := MassFraction(0)
	if r.Mass != nil {
		strength = *r.Mass
	}
	density, err := LiquidDensity(r.Fluid, strength, *r.At)
	if err != nil {
		return FractionState{}, 0, err
	}
	kept := r.Holds - r.Drained
	if kept < 0 {
		return FractionState{}, 0, &InvalidError{"drained", r.Drained.String(), "not more than the loop holds, " + r.Holds.String()}
	}
	s, err := summed(r.Poured, *r.At)
	if err != nil {
		return FractionState{}, 0, err
	}
	left := float64(density.Mass(kept))
	total, volume := left+s.mass, kept+s.volume
	if total <= 0 {
		return FractionState{}, 0, &InvalidError{"poured", "nothing", "something in the loop"}
	}
	x := MassFraction((left*float64(strength) + s.glycol) / total)
	fromStrength := (left*float64(r.MassUncertainty) + s.off) / total // a label may be off in both alike
	fromVolume := float64(strength-x) / total * float64(density.Mass(r.HoldsUncertainty))
	u := MassFraction(math.Hypot(fromStrength, fromVolume))
	if x > MaxMassFraction {
		return FractionState{Mass: x, Volume: volumeFraction(r.Fluid, x)}, volume, nil
	}
	return uncertain(r.Fluid, x, u), volume, nil
}

// poured is what several liquids come to together.
type poured struct {
	volume       Litre   // before mixing
	mass, glycol float64 // kg
	off          float64 // kg of glycol, by the labels (k = 2)
}

func summed(all []Pour, at Celsius) (poured, error) {
	var s poured
	for _, p := range all {
		d, err := LiquidDensity(p.Fluid, p.Mass, at)
		if err != nil {
			return s, err
		}
		if p.Density != nil {
			d = *p.Density
		}
		mass := float64(d.Mass(p.Volume))
		s.volume, s.mass = s.volume+p.Volume, s.mass+mass
		s.glycol += mass * float64(p.Mass)
		s.off += mass * float64(p.MassUncertainty)
	}
	return s, nil
}

// Blended is what liquids make in an empty loop.
type Blended struct {
	Fluid       Fluid
	Mass        MassFraction
	Uncertainty MassFraction // of the strength, by the labels (k = 2)
	Volume      Litre        // less than the sum of the volumes
}

// Blend returns what liquids make in an empty loop, by their masses at [DefaultAt]. A product that is thinned with water alone goes by its
// own curve. Both glycols, neither glycol nor water, and nothing at all are an [*InvalidError]; a product past its label's lines is a
// [*RangeError].
func Blend(all []Pour) (Blended, error) {
	b := Blended{Fluid: DeionisedWater}
	var bottle *Pour // the only one with glycol
	glycols := 0
	for i, p := range all {
		switch {
		case !p.Fluid.Valid():
			return Blended{}, &InvalidError{"poured", p.Name, "a coolant or water"}
		case p.Fluid.IsGlycol() && b.Fluid.IsGlycol() && p.Fluid != b.Fluid:
			return Blended{}, &InvalidError{"poured", p.Name, "one glycol: the two must not meet"}
		case p.Fluid.IsGlycol():
			glycols++
			b.Fluid, bottle = p.Fluid, &all[i]
		case p.Fluid == TreatedWater && !b.Fluid.IsGlycol():
			b.Fluid = TreatedWater
		}
	}
	s, err := summed(all, DefaultAt)
	switch {
	case err != nil:
		return Blended{}, err
	case s.mass <= 0:
		return Blended{}, &InvalidError{"poured", "nothing", "what went in and how much"}
	case glycols == 1 && bottle.Product != nil:
		strength := VolumeFraction(bottle.Volume / s.volume)
		if _, _, err := bottle.Product.Concentrate(strength); err != nil {
			return Blended{}, err
		}
		st, _ := bottle.Product.At(strength) // as Concentrate found it
		b.Mass, b.Uncertainty = *st.Mass, *st.Mass*MassFraction(st.relative(b.Fluid))
	default:
		b.Mass, b.Uncertainty = MassFraction(s.glycol/s.mass), MassFraction(s.off/s.mass)
	}
	d, err := LiquidDensity(b.Fluid, b.Mass, DefaultAt)
	if err != nil {
		return Blended{}, err
	}
	b.Volume = min(s.volume, d.Volume(Kilogram(s.mass)))
	return b, nil
}

// sumsOff is what sums of volumes can be off by: full to the mark is not too much.
const sumsOff Litre = 1e-9

// tooMuch says how far over the mark, to no less than a jug shows.
func tooMuch(over Litre) string {
	if over.Millilitres() < 1 {
		return "less than 1 ml too much"
	}
	return over.String() + " too much"
}
