// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"

	"fillmark/chemistry/tables"
)

// waterDensity is Kell's equation in kg/m³, t in °C from 0 to 100.
func waterDensity(t float64) float64 {
	w := tables.LiquidWater()
	k := &w.Kell
	return (k[0] + t*(k[1]+t*(k[2]+t*(k[3]+t*(k[4]+t*k[5]))))) / (1 + w.KellB*t)
}

// waterProperty is a property of water in SI units, t in °C from 0 to 100.
func waterProperty(k kind, t float64) float64 {
	w := tables.LiquidWater()
	switch k {
	case specificHeat:
		i := min(int(t/10), len(w.SpecificHeat)-2)
		return w.SpecificHeat[i] + (t/10-float64(i))*(w.SpecificHeat[i+1]-w.SpecificHeat[i])
	case conductivity:
		return powers(&w.ConductA, &w.ConductB, t)
	default:
		return 1e-6 * powers(&w.ViscosityA, &w.ViscosityB, t)
	}
}

// powers is Σ a (T/300 K)^b. One logarithm and four exponentials are half the time of four powers.
func powers(a, b *[4]float64, t float64) float64 {
	l := math.Log((t + 273.15) / 300)
	var sum float64
	for i := range a {
		sum += a[i] * math.Exp(b[i]*l)
	}
	return sum
}
