// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"strconv"
	"strings"
)

// Celsius is a temperature in °C. The zero value is the freezing point of water.
type Celsius float64

// Add returns the temperature d warmer.
func (c Celsius) Add(d CelsiusDelta) Celsius { return c + Celsius(d) }

// Sub returns how much warmer c is than o.
func (c Celsius) Sub(o Celsius) CelsiusDelta { return CelsiusDelta(c - o) }

// String prints tenths: "-20.0 °C".
func (c Celsius) String() string { return fixed(float64(c), 1) + " °C" }

// CelsiusDelta is a difference of temperatures in K.
type CelsiusDelta float64

// String prints tenths: "5.0 K".
func (d CelsiusDelta) String() string { return fixed(float64(d), 1) + " K" }

// MassFraction is the mass of glycol in the mass of liquid, 0 to 1.
type MassFraction float64

// Percent returns 100 times the fraction.
func (x MassFraction) Percent() float64 { return 100 * float64(x) }

// String prints tenths of a percent and the basis: "40.0 mass %".
func (x MassFraction) String() string { return fixed(x.Percent(), 1) + " mass %" }

// VolumeFraction is the volume of glycol in the sum of the volumes of glycol and water before mixing at 20 °C, 0 to 1. The
// volume of the finished mixture is smaller and is not what it refers to.
type VolumeFraction float64

// Percent returns 100 times the fraction.
func (v VolumeFraction) Percent() float64 { return 100 * float64(v) }

// String prints tenths of a percent and the basis: "37.4 vol %".
func (v VolumeFraction) String() string { return fixed(v.Percent(), 1) + " vol %" }

// Litre is a volume in litres.
type Litre float64

// Millilitres returns the volume in ml.
func (l Litre) Millilitres() float64 { return 1000 * float64(l) }

// String prints "600 ml" or, from one litre up, "1.2 l": three decimals of its unit at most, trailing zeros left out.
func (l Litre) String() string {
	if l > -1 && l < 0.9999995 {
		return trimmed(l.Millilitres(), 1) + " ml"
	}
	return trimmed(float64(l), 3) + " l"
}

// Kilogram is a mass in kilograms.
type Kilogram float64

// Grams returns the mass in g.
func (m Kilogram) Grams() float64 { return 1000 * float64(m) }

// String prints "120.5 g" or, from one kilogram up, "1.2 kg" and, below a tenth of a gram, "4.8 mg": trailing zeros are left out.
func (m Kilogram) String() string {
	if m >= 5e-9 && m < 0.0001 { // what two decimals of a milligram show
		return trimmed(1000*m.Grams(), 2) + " mg"
	}
	if m > -1 && m < 0.9999995 {
		return trimmed(m.Grams(), 2) + " g"
	}
	return trimmed(float64(m), 3) + " kg"
}

// KilogramPerLitre is a density in kg/l, which is g/ml.
type KilogramPerLitre float64

// KilogramsPerCubicMetre returns the density in kg/m³.
func (r KilogramPerLitre) KilogramsPerCubicMetre() float64 { return 1000 * float64(r) }

// Mass returns the mass of a volume of this density.
func (r KilogramPerLitre) Mass(l Litre) Kilogram { return Kilogram(float64(r) * float64(l)) }

// Volume returns the volume of a mass of this density.
func (r KilogramPerLitre) Volume(m Kilogram) Litre { return Litre(float64(m) / float64(r)) }

// String prints four decimals: "1.0514 kg/l".
func (r KilogramPerLitre) String() string { return fixed(float64(r), 4) + " kg/l" }

// JoulePerKilogramKelvin is a specific heat in J/(kg K).
type JoulePerKilogramKelvin float64

// String prints whole joules: "3896 J/(kg K)".
func (c JoulePerKilogramKelvin) String() string { return fixed(float64(c), 0) + " J/(kg K)" }

// WattPerMetreKelvin is a thermal conductivity in W/(m K).
type WattPerMetreKelvin float64

// String prints three decimals: "0.508 W/(m K)".
func (k WattPerMetreKelvin) String() string { return fixed(float64(k), 3) + " W/(m K)" }

// MillipascalSecond is a dynamic viscosity in mPa s, which is centipoise.
type MillipascalSecond float64

// String prints two decimals: "1.66 mPa s".
func (m MillipascalSecond) String() string { return fixed(float64(m), 2) + " mPa s" }

// Brix is a reading of a sugar refractometer in degrees Brix at 20 °C.
type Brix float64

// String prints tenths: "28.4 brix".
func (b Brix) String() string { return fixed(float64(b), 1) + " brix" }

// RefractiveIndex is nD, relative to air at 589.3 nm.
type RefractiveIndex float64

// String prints four decimals: "1.3790".
func (n RefractiveIndex) String() string { return fixed(float64(n), 4) }

// fixed prints v with the decimals given and never a minus zero.
func fixed(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if s[0] == '-' && strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return s
}

// trimmed is fixed without trailing zeros.
func trimmed(v float64, decimals int) string {
	s := fixed(v, decimals)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}
