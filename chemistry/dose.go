// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "math"

// Dose is how much of an additive its label asks for. Fillmark never proposes one: the label's is asked for, kept and checked.
type Dose struct {
	Name string
	// Exactly one of the two is set.
	PerLitre Kilogram       // additive per litre of finished coolant
	Volume   VolumeFraction // additive volume in the finished volume
	// Density of the additive, by its label; it turns volume into grams. 0: unknown, the volume is said alone.
	Density KilogramPerLitre
	// SpentBelow is the share of the dose below which the label calls the additive spent; 0: the label does not say.
	SpentBelow float64
}

// DoseLevel is what is left of a dose.
type DoseLevel struct {
	Name       string
	Level      float64 // share of the label's dose: 1 is the full dose
	SpentBelow float64 // share below which the label calls it spent; 0: the label does not say, and the full dose counts
}

// Amount returns what the label asks for in a volume of coolant in which the share level of the dose is still there. A part that
// cannot be told is 0: the mass of an additive dosed by volume without a density, the volume of one dosed by mass without.
func (d Dose) Amount(coolant Litre, level float64) (Kilogram, Litre, error) {
	if (d.PerLitre > 0) == (d.Volume > 0) {
		return 0, 0, &InvalidError{"dose", d.Name, "say what the label says: either grams per litre or a volume %"}
	}
	if err := checkBounds([]bound{
		{"dose per litre", d.PerLitre.Grams(), 0, 250, "g", "at most 250 g per litre of coolant: is it the whole dose?"},
		{"dose", 100 * float64(d.Volume), 0, 50, "vol %", "0 to 50 vol %"},
		{"additive density", float64(d.Density), 0, 3, "kg/l", "0 to 3 kg/l"},
		{"coolant", float64(coolant), 0, 1e5, "l", "0 to 100000 l"},
		{"level", level, 0, 1000, "", "a share of the label's dose"},
	}); err != nil {
		return 0, 0, err
	}
	missing := max(0, 1-level)
	if d.PerLitre > 0 {
		m := Kilogram(missing * float64(d.PerLitre) * float64(coolant))
		if d.Density > 0 {
			return m, d.Density.Volume(m), nil
		}
		return m, 0, nil
	}
	v := Litre(missing * float64(d.Volume) * float64(coolant))
	return d.Density.Mass(v), v, nil
}

// Spent reports whether the level is below what the label still allows.
func (l DoseLevel) Spent() bool {
	limit := l.SpentBelow
	if limit == 0 {
		limit = 1
	}
	return l.Level < limit-1e-9
}

// Diluted returns the level after the coolant that carries it became a smaller share of the whole, kept 0 to 1, because
// something without the additive was added.
func (l DoseLevel) Diluted(kept float64) DoseLevel {
	l.Level *= math.Min(1, math.Max(0, kept))
	return l
}
