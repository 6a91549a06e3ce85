// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"strings"

	"fillmark/chemistry/tables"
)

// accuracy is how far properties may lie from the truth: relative, k = 2, as measured against tables that the program does not
// compute from (chemistry/tables/accuracy.csv).
type accuracy struct {
	density, specificHeat, conductivity, viscosity float64
}

// accuracyOf is the accuracy of the properties of a fluid at t: of pure glycol in water, or of a bought, inhibited product for which
// pure glycol stands in. Water has one accuracy, with additives or without.
func accuracyOf(f Fluid, inhibited bool, t Celsius) accuracy {
	var a accuracy
	for _, row := range tables.All().Accuracies {
		if row.Fluid != f.base() || row.Inhibited != (inhibited && f.IsGlycol()) {
			continue
		}
		v := row.Warm
		if t < 0 {
			v = row.Cold
		}
		switch v /= 100; row.Property {
		case "density":
			a.density = v
		case "specific heat":
			a.specificHeat = v
		case "conductivity":
			a.conductivity = v
		case "viscosity":
			a.viscosity = v
		}
	}
	return a
}

// base is the fluid's name in the tables: water is one liquid there.
func (f Fluid) base() string {
	if f.IsGlycol() {
		return string(f)
	}
	return string(TreatedWater)
}

// String says all four: "density 0.15 %, specific heat 2.1 %, conductivity 5 %, viscosity 5 %".
func (a accuracy) String() string {
	var out []string
	for _, p := range []struct {
		name string
		v    float64
	}{{"density", a.density}, {"specific heat", a.specificHeat}, {"conductivity", a.conductivity}, {"viscosity", a.viscosity}} {
		out = append(out, p.name+" "+trimmed(100*p.v, 3)+" %")
	}
	return strings.Join(out, ", ")
}

// accuracySources says how sure the properties are.
func accuracySources(f Fluid, t Celsius) []string {
	if !f.IsGlycol() {
		return []string{"accuracy (k = 2): " + accuracyOf(f, false, t).String()}
	}
	return []string{
		"Melinder, IIR 2010, pure glycol in water; accuracy (k = 2): " + accuracyOf(f, false, t).String(),
		"of a bought, inhibited product: " + accuracyOf(f, true, t).String(),
	}
}
