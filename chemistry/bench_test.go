// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry_test

import (
	"testing"

	"fillmark/chemistry"
)

// The speed asked of the package: a property in 60 ns and without allocation, a freeze point's inverse in 1 µs, a mix in 5 µs, a
// top-up check with four liquids in 100 µs. doc/chemistry.md keeps the last measurement.

func BenchmarkProperty(b *testing.B) {
	for _, bb := range []struct {
		name string
		f    chemistry.Fluid
		x    chemistry.MassFraction
	}{
		{"glycol", chemistry.EthyleneGlycol, 0.35},
		{"dilute", chemistry.PropyleneGlycol, 0.05},
		{"water", chemistry.TreatedWater, 0},
	} {
		b.Run("density/"+bb.name, func(b *testing.B) { loop(b, bb.f, bb.x, chemistry.Density) })
		b.Run("specific heat/"+bb.name, func(b *testing.B) { loop(b, bb.f, bb.x, chemistry.SpecificHeat) })
		b.Run("all properties/"+bb.name, func(b *testing.B) { loop(b, bb.f, bb.x, chemistry.Props) })
		b.Run("freeze point/"+bb.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := chemistry.FreezePoint(bb.f, bb.x); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func loop[T any](b *testing.B, f chemistry.Fluid, x chemistry.MassFraction, property func(chemistry.Fluid, chemistry.MassFraction, chemistry.Celsius) (T, error)) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := property(f, x, 20); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkFreezePointInverse(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chemistry.MassFractionForFreezePoint(chemistry.PropyleneGlycol, -25); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMix(b *testing.B) {
	r := chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Protect: celsius(-20), Make: 0.6, Concentrate: 0.95, Premix: 0.30, PremixAvailable: 0.2,
		Bench: 20, Left: 0.015,
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chemistry.Mix(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkTopUpFourLiquids(b *testing.B) {
	pg := chemistry.PropyleneGlycol
	short := concentrate(pg)
	short.Available = 0.02
	r := chemistry.TopUpRequest{
		Fluid: pg, Mass: mass(0.28), MassUncertainty: 0.01, Holds: 0.52, Room: 0.06, Protect: celsius(-15),
		With: []chemistry.Liquid{short, water(), {Name: "premix", Fluid: pg, Mass: 0.40}, {Name: "old premix", Fluid: pg, Mass: 0.30, Available: 0.1}},
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chemistry.CheckTopUp(r); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReading(b *testing.B) {
	r := chemistry.ReadingRequest{Fluid: chemistry.PropyleneGlycol, Brix: brix(28.4), Sample: 22}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chemistry.Read(r); err != nil {
			b.Fatal(err)
		}
	}
}
