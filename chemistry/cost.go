// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "fmt"

// Cost is what glycol costs a loop against water at the same temperature, or at 0 °C where the liquid is colder than water can be.
type Cost struct {
	Viscosity          MillipascalSecond
	ComparedAt         Celsius // of the water
	HeatPerLitreKelvin float64 // kJ/(l K) carried
	RelativeHeat       float64 // of water's
	RelativeViscosity  float64 // of water's
	RelativeFlow       float64 // flow that carries the same heat with the same rise, of water's
	Warning            string  // of a liquid too thick for a small pump, or empty
	Sources            []string
}

// thick is the viscosity from which a small circulating pump may not do what its maker says. Most are rated up to about 10 mm²/s
// (common practice, no source).
const thick MillipascalSecond = 10

// GlycolCost compares a liquid with mass fraction x of glycol at t with water. Range and errors as [Density].
func GlycolCost(f Fluid, x MassFraction, t Celsius) (Cost, error) {
	p, err := Props(f, x, t)
	if err != nil {
		return Cost{}, err
	}
	at := max(t, 0)
	w, err := Props(DeionisedWater, 0, at)
	if err != nil {
		return Cost{}, err
	}
	heat := float64(p.Density) * float64(p.SpecificHeat) / 1000
	water := float64(w.Density) * float64(w.SpecificHeat) / 1000
	c := Cost{
		Viscosity: p.Viscosity, ComparedAt: at,
		HeatPerLitreKelvin: heat,
		RelativeHeat:       heat / water,
		RelativeViscosity:  float64(p.Viscosity / w.Viscosity),
		RelativeFlow:       water / heat,
		Sources:            append(accuracySources(f, t), sourceWater),
	}
	if p.Viscosity > thick {
		c.Warning = fmt.Sprintf("At %s the liquid is thick, %.0f mPa·s. Many small pumps are rated up to about 10 mm²/s (common practice, no source): ask the pump's maker, and expect less flow than on the bench.", t, float64(p.Viscosity))
	}
	return c, nil
}
