// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"

	"fillmark/chemistry/tables"
)

// MaxTemperature is the highest temperature of a property.
const MaxTemperature Celsius = 100

// joinBelow is the mass fraction below which the glycol fits are joined to water: at x = 0 Melinder misses water by up to
// 0.9 kg/m³. The correction fades to nothing at this fraction; with it the density of 5 mass % agrees with the CRC Handbook
// to 0.1 kg/m³.
const joinBelow = 0.10

// Density returns the density of a liquid with mass fraction x of glycol (0 to [MaxMassFraction]) at t (stated freeze point
// to [MaxTemperature]). Sources: Melinder, IIR 2010; water: Kell 1975. The sources of [Props] say how accurate. Outside there is a [*RangeError].
func Density(f Fluid, x MassFraction, t Celsius) (KilogramPerLitre, error) {
	if err := checkState(f, x, t); err != nil {
		return 0, err
	}
	return density(f, x, t), nil
}

// SpecificHeat returns the specific heat at constant pressure. Range, sources and errors as [Density], water: EnergyPlus and
// CRC Handbook.
func SpecificHeat(f Fluid, x MassFraction, t Celsius) (JoulePerKilogramKelvin, error) {
	if err := checkState(f, x, t); err != nil {
		return 0, err
	}
	return JoulePerKilogramKelvin(property(f, x, t, specificHeat)), nil
}

// boilingPoint is the boiling point at about 1 atm (ASHRAE Handbook Fundamentals 2009, linear interpolation; printed to about 0.6 K).
func boilingPoint(f Fluid, x MassFraction) Celsius {
	if !f.IsGlycol() {
		return 100
	}
	return Celsius(ashraeAt(&f.glycol().BoilC, float64(x)))
}

// Properties is everything the tables say of one liquid at one temperature.
type Properties struct {
	Fluid             Fluid
	Mass              MassFraction
	Volume            VolumeFraction
	Temperature       Celsius
	Freeze            Freeze
	Boiling           Celsius
	Density           KilogramPerLitre
	SpecificHeat      JoulePerKilogramKelvin
	Conductivity      WattPerMetreKelvin
	Viscosity         MillipascalSecond
	RefractiveIndex20 RefractiveIndex
	Brix20            Brix
	Sources           []string // one sentence for each property or group of properties
}

// Props returns the [Properties] of a liquid with mass fraction x of glycol at t. Range and errors as [Density].
func Props(f Fluid, x MassFraction, t Celsius) (Properties, error) {
	if err := checkState(f, x, t); err != nil {
		return Properties{}, err
	}
	p := Properties{
		Fluid: f, Mass: x, Volume: volumeFraction(f, x), Temperature: t,
		Freeze:       freeze(f, x),
		Boiling:      boilingPoint(f, x),
		Density:      density(f, x, t),
		SpecificHeat: JoulePerKilogramKelvin(property(f, x, t, specificHeat)),
		Conductivity: WattPerMetreKelvin(property(f, x, t, conductivity)),
		Viscosity:    MillipascalSecond(1000 * property(f, x, t, viscosity)),
		Sources:      propertySources(f, t),

		RefractiveIndex20: refractiveIndex20(f, x),
	}
	p.Brix20 = brixOf(p.RefractiveIndex20)
	return p, nil
}

const (
	sourceWater   = "water: density Kell 1975; conductivity and viscosity IAPWS SR6-08; specific heat EnergyPlus reference data and CRC Handbook"
	sourcePlain   = "freeze point 0 °C and refractive index 1.33299: pure water, ICUMSA 1974; additives change both a little"
	sourceDensity = "density: Melinder, IIR 2010, pure glycol in water; water Kell 1975"
	sourceJoin    = "below 10 mass % joined to " + sourceWater
	sourceFreeze  = "freeze point: the warmer of Melinder 2010 and the ASHRAE Handbook Fundamentals table"
	sourceBoil    = "boiling point: ASHRAE Handbook Fundamentals 2009, about 1 atm"
	sourceVolume  = "volume % before mixing at 20 °C: CRC Handbook densities of pure glycol, Kell 1975 for water"
	sourceStrong  = "concentrate density ±0.5 %: straight line from Melinder at 60 mass % to the CRC Handbook value of the pure glycol; grams decide"
	sourceSlope   = "temperature coefficient of the index: fit to Gerke 2023 (propylene glycol), estimate (ethylene glycol); water IAPWS 1997"
)

func sourceIndex(f Fluid) string {
	if f == EthyleneGlycol {
		return "refractive index: fit to CRC Handbook 102nd ed. (within 0.00006); Brix: ICUMSA 1974"
	}
	return "refractive index: fit to MacBeth and Thompson 1951 and Abbe data of Gerke 2023 (within 0.0003); Brix: ICUMSA 1974"
}

func propertySources(f Fluid, t Celsius) []string {
	if !f.IsGlycol() {
		return append(accuracySources(f, t), sourceWater, sourcePlain)
	}
	return append(accuracySources(f, t), sourceJoin, sourceFreeze, sourceBoil, sourceIndex(f), sourceVolume)
}

// mixtureSources are the sources behind a mix or a top-up.
func mixtureSources(f Fluid) []string {
	if !f.IsGlycol() {
		return []string{sourceWater, sourcePlain}
	}
	return []string{sourceDensity, sourceFreeze, sourceVolume}
}

// kind picks a property.
type kind int

const (
	specificHeat kind = iota
	conductivity
	viscosity
)

func density(f Fluid, x MassFraction, t Celsius) KilogramPerLitre {
	if !f.IsGlycol() {
		return KilogramPerLitre(waterDensity(float64(t)) / 1000)
	}
	m := &f.glycol().Melinder
	v := poly(m, &m.Density, float64(x), float64(t))
	if x < joinBelow {
		t0 := max(0, float64(t))
		v += (1 - float64(x)/joinBelow) * (waterDensity(t0) - poly(m, &m.Density, 0, t0))
	}
	return KilogramPerLitre(v / 1000)
}

// property evaluates one property in SI units for a state known to be in range.
func property(f Fluid, x MassFraction, t Celsius, k kind) float64 {
	if !f.IsGlycol() {
		return waterProperty(k, float64(t))
	}
	m := &f.glycol().Melinder
	v := melinderProperty(m, k, float64(x), float64(t))
	if x < joinBelow {
		// Below 0 °C there is no water to join to; its correction at 0 °C is kept.
		t0 := max(0, float64(t))
		v += (1 - float64(x)/joinBelow) * (waterProperty(k, t0) - melinderProperty(m, k, 0, t0))
	}
	return v
}

func melinderProperty(m *tables.Melinder, k kind, x, t float64) float64 {
	switch k {
	case specificHeat:
		return poly(m, &m.SpecificHeat, x, t)
	case conductivity:
		return poly(m, &m.Conductivity, x, t)
	default:
		return math.Exp(poly(m, &m.LogViscosity, x, t))
	}
}

// poly evaluates Melinder's polynomial by Horner's rule. Row i has terms up to power 5−i in x (3 rows: 5, 4, 3, 2), but zero
// coefficients cost less than a loop that skips them.
func poly(m *tables.Melinder, c *[4][6]float64, x, t float64) float64 {
	dx, dt := x-m.BaseFraction, t-m.BaseTemperature
	r0 := c[0][0] + dx*(c[0][1]+dx*(c[0][2]+dx*(c[0][3]+dx*(c[0][4]+dx*c[0][5]))))
	r1 := c[1][0] + dx*(c[1][1]+dx*(c[1][2]+dx*(c[1][3]+dx*c[1][4])))
	r2 := c[2][0] + dx*(c[2][1]+dx*(c[2][2]+dx*c[2][3]))
	r3 := c[3][0] + dx*(c[3][1]+dx*c[3][2])
	return r0 + dt*(r1+dt*(r2+dt*r3))
}

// checkState refuses what checkFraction refuses and a temperature at which the liquid is not all liquid.
func checkState(f Fluid, x MassFraction, t Celsius) error {
	if err := checkFraction(f, x); err != nil {
		return err
	}
	if low := Celsius(statedFreeze(f, x)); !(t >= low && t <= MaxTemperature) {
		if t != t {
			return &InvalidError{Field: "temperature", Value: "NaN", Reason: "not a temperature"}
		}
		table := "Melinder 2010, from the freeze point up"
		if !f.IsGlycol() {
			table = "liquid water at 1 atm"
		}
		return &RangeError{"temperature of " + f.Name(), float64(t), float64(low), float64(MaxTemperature), "°C", table}
	}
	return nil
}

// waterDensity is Kell's equation in kg/m³, t in °C from 0 to 100.
func waterDensity(t float64) float64 { return tables.LiquidWater().Density(t) }

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
