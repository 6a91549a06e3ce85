// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

// Cost is what glycol costs a loop against water at the same temperature.
type Cost struct {
	HeatPerLitreKelvin float64 // kJ/(l K) carried
	RelativeHeat       float64 // of water's
	RelativeViscosity  float64 // of water's
	RelativeFlow       float64 // flow that carries the same heat with the same rise, of water's
	Sources            []string
}

// GlycolCost compares a liquid with mass fraction x of glycol at t, 0 to 100 °C, with water. Range and errors as [Density]; below
// 0 °C there is no water to compare with.
func GlycolCost(f Fluid, x MassFraction, t Celsius) (Cost, error) {
	p, err := Props(f, x, t)
	if err != nil {
		return Cost{}, err
	}
	if t < 0 {
		return Cost{}, &RangeError{"temperature of the comparison", float64(t), 0, float64(MaxTemperature), "°C", "below 0 °C there is no liquid water to compare with"}
	}
	w, err := Props(DeionisedWater, 0, t)
	if err != nil {
		return Cost{}, err
	}
	heat := float64(p.Density) * float64(p.SpecificHeat) / 1000
	water := float64(w.Density) * float64(w.SpecificHeat) / 1000
	return Cost{
		HeatPerLitreKelvin: heat,
		RelativeHeat:       heat / water,
		RelativeViscosity:  float64(p.Viscosity / w.Viscosity),
		RelativeFlow:       water / heat,
		Sources:            append(accuracySources(f, t), sourceWater),
	}, nil
}
