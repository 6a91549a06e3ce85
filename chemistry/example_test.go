// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"fmt"

	"fillmark/chemistry"
)

// What does 40 mass % protect to, and how sure is that?
func ExampleFreezePoint() {
	z, err := chemistry.FreezePoint(chemistry.EthyleneGlycol, 0.40)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(z)
	// Output: -22.3 ± 1.8 °C (k = 2)
}

// What to pour for 600 ml that protects a wall at −20 °C?
func ExampleMix() {
	r, err := chemistry.Mix(chemistry.MixRequest{
		Fluid:       chemistry.PropyleneGlycol,
		Protect:     new(chemistry.Celsius(-20)),
		Make:        0.600,
		Concentrate: 0.95,
		Bench:       20,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range r.Parts {
		fmt.Println(p.Name, p.Mass, p.Volume)
	}
	fmt.Println(r.Result.Mass, r.Result.Freeze.Stated)
	// Output:
	// concentrate 290 g 279.7 ml
	// dilution water 331 g 331.6 ml
	// 44.4 mass % -25.0 °C
}

// What does a refractometer's 28.4 Brix mean?
func ExampleRead() {
	r, err := chemistry.Read(chemistry.ReadingRequest{
		Fluid:  chemistry.PropyleneGlycol,
		Brix:   new(chemistry.Brix(28.4)),
		Sample: 20,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%v ± %.1f, freeze point %v\n", r.Mass, r.MassUncertainty.Percent(), r.Freeze)
	// Output: 40.1 mass % ± 0.4, freeze point -20.6 ± 1.2 °C (k = 2)
}

// A loop that lost water through its tube walls gets water back.
func ExampleCheckTopUp() {
	pg := chemistry.PropyleneGlycol
	concentrate, _ := chemistry.ParseLiquid("concentrate:95%:oat", pg)
	water, _ := chemistry.ParseLiquid("water", pg)
	v, err := chemistry.CheckTopUp(chemistry.TopUpRequest{
		Fluid:      pg,
		Mass:       new(chemistry.MassFraction(0.40)),
		FilledMass: new(chemistry.MassFraction(0.36)),
		Inhibitor:  chemistry.OAT,
		Metals:     []chemistry.Metal{chemistry.Copper},
		Holds:      0.500,
		Room:       0.055,
		Protect:    new(chemistry.Celsius(-10)),
		With:       []chemistry.Liquid{concentrate, water},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(v.Verdict)
	fmt.Println(v.Steps[0].Do, v.Steps[0].What, v.Steps[0].Volume)
	fmt.Println(v.After.Mass, v.After.Freeze.Stated)
	// Output:
	// go
	// add dilution water 55.1 ml
	// 36.1 mass % -17.2 °C
}

// Outside a table there is no answer but the reason.
func ExampleRangeError() {
	_, err := chemistry.FreezePoint(chemistry.PropyleneGlycol, 0.70)
	fmt.Println(err)
	// Output: mass fraction of propylene glycol 70 mass % is outside 0 to 60 mass % (Melinder 2010 and ASHRAE end at 60 mass %: above it the liquid becomes a glass without a freeze point)
}
