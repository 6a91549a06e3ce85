// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "fillmark/chemistry/tables"

// waterDensity is Kell's equation in kg/m³, t in °C from 0 to 100.
func waterDensity(t float64) float64 {
	w := tables.LiquidWater()
	k := &w.Kell
	return (k[0] + t*(k[1]+t*(k[2]+t*(k[3]+t*(k[4]+t*k[5]))))) / (1 + w.KellB*t)
}

// waterProperty is a property of water in SI units, t in °C from 0 to 100: straight lines between the table's points.
func waterProperty(k kind, t float64) float64 {
	w := tables.LiquidWater()
	switch k {
	case specificHeat:
		return between(w.SpecificHeat[:], t/10)
	case conductivity:
		return between(w.Conductivity[:], t)
	default:
		return between(w.Viscosity[:], t)
	}
}

// between interpolates y, given at 0, 1, 2 ..., at x within that range.
func between(y []float64, x float64) float64 {
	i := max(0, min(int(x), len(y)-2))
	return y[i] + (x-float64(i))*(y[i+1]-y[i])
}
