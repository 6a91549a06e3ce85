// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"

	"fillmark/chemistry/tables"
)

// MaxMassFraction is the highest mass fraction of glycol for which there is a freeze point or a property.
const MaxMassFraction MassFraction = 0.60

// waterFreezeUncertainty covers dissolved air and additives, which only ever lower the freeze point of water (from memory).
const waterFreezeUncertainty CelsiusDelta = 0.1

// Freeze is a freeze point: the temperature of the first ice (ASTM D1177). Burst protection is another, lower figure.
type Freeze struct {
	// Stated is the warmer of the two sources and what may be promised.
	Stated Celsius
	// Uncertainty (k = 2) joins the gap between the sources and the floor of the method: √(gap² + floor²).
	Uncertainty CelsiusDelta
	// Melinder and ASHRAE are what the two sources say. For water both are 0 °C.
	Melinder, ASHRAE Celsius
}

// String prints the promise with its uncertainty: "-21.3 ± 1.4 °C (k = 2)".
func (z Freeze) String() string {
	return fixed(float64(z.Stated), 1) + " ± " + fixed(float64(z.Uncertainty), 1) + " °C (k = 2)"
}

// FreezePoint returns the freeze point of a liquid with mass fraction x of glycol, 0 to [MaxMassFraction]; x must be 0 for
// water. Sources: Melinder, IIR 2010, and the freezing table of the ASHRAE Handbook Fundamentals (linear interpolation in
// its mass column). Above 60 mass % there is a [*RangeError]: ethylene glycol enters its eutectic region, where the freeze
// point rises again, and propylene glycol becomes a glass without one.
func FreezePoint(f Fluid, x MassFraction) (Freeze, error) {
	if err := checkFraction(f, x); err != nil {
		return Freeze{}, err
	}
	return freeze(f, x), nil
}

// MassFractionForFreezePoint returns the smallest mass fraction whose stated freeze point (see [FreezePoint]) is t or lower,
// to 1e-9. For t at or above 0 °C it is 0. A temperature colder than the table reaches, and any frost with water, is a
// [*RangeError].
func MassFractionForFreezePoint(f Fluid, t Celsius) (MassFraction, error) {
	if err := f.check(); err != nil {
		return 0, err
	}
	if math.IsNaN(float64(t)) {
		return 0, &InvalidError{Field: "freeze point", Value: "NaN", Reason: "not a temperature"}
	}
	if t >= 0 && t <= 1000 {
		return 0, nil
	}
	if !f.IsGlycol() {
		return 0, &RangeError{"freeze point of " + f.Name(), float64(t), 0, 0, "°C", "water freezes at 0 °C: use a glycol, or keep it from frost"}
	}
	coldest := freeze(f, MaxMassFraction).Stated
	if t < coldest || t > 1000 {
		return 0, &RangeError{"freeze point of " + f.Name(), float64(t), float64(coldest), 0, "°C", freezeTable(f)}
	}
	g := f.glycol()
	return max(solveMelinder(&g.Melinder, float64(t)), solveASHRAE(&g.FreezeC, float64(t))), nil
}

// FreezeCurve returns n points of the stated freeze point at equal steps from 0 to [MaxMassFraction], for a plot. f must be a
// glycol and n at least 2; else the result is nil.
func FreezeCurve(f Fluid, n int) []CurvePoint {
	if !f.IsGlycol() || n < 2 {
		return nil
	}
	points := make([]CurvePoint, n)
	for i := range points {
		x := MaxMassFraction * MassFraction(i) / MassFraction(n-1)
		points[i] = CurvePoint{x, freeze(f, x)}
	}
	return points
}

// CurvePoint is one point of a freeze curve.
type CurvePoint struct {
	Mass   MassFraction
	Freeze Freeze
}

// freeze is FreezePoint for a fraction known to be in range.
func freeze(f Fluid, x MassFraction) Freeze {
	if !f.IsGlycol() {
		return Freeze{Uncertainty: waterFreezeUncertainty}
	}
	g := f.glycol()
	melinder, ashrae := melinderFreeze(&g.Melinder, float64(x)), ashraeAt(&g.FreezeC, float64(x))
	gap := melinder - ashrae
	floor := float64(freezeFloor(f, x))
	return Freeze{
		Stated:      Celsius(max(melinder, ashrae)),
		Uncertainty: CelsiusDelta(math.Sqrt(gap*gap + floor*floor)),
		Melinder:    Celsius(melinder),
		ASHRAE:      Celsius(ashrae),
	}
}

// statedFreeze is the stated freeze point alone.
func statedFreeze(f Fluid, x MassFraction) float64 {
	if !f.IsGlycol() {
		return 0
	}
	g := f.glycol()
	return max(melinderFreeze(&g.Melinder, float64(x)), ashraeAt(&g.FreezeC, float64(x)))
}

// freezeFloor is what remains uncertain (k = 2) when the sources agree: scatter between laboratories and field methods
// (ASTM D3321 reads to 1 °C; ASTM D6660 reproduces to 0.8 °C). Ethylene glycol scatters more near its eutectic.
func freezeFloor(f Fluid, x MassFraction) CelsiusDelta {
	switch {
	case f == EthyleneGlycol && x > 0.50:
		return 2
	case f == EthyleneGlycol && x > 0.40:
		return 1.5
	}
	return 1
}

// freezeSlope returns how fast the stated freeze point falls with the mass fraction, in K per unit fraction (negative).
func freezeSlope(f Fluid, x MassFraction) float64 {
	const h = 0.002
	low, high := max(0, x-h), min(MaxMassFraction, x+h)
	return (statedFreeze(f, high) - statedFreeze(f, low)) / float64(high-low)
}

// melinderFreeze evaluates the freezing polynomial in °C. It misses 0 °C by up to 0.03 K at x = 0 and is cut off there.
func melinderFreeze(m *tables.Melinder, x float64) float64 {
	d := x - m.BaseFraction
	c := &m.FreezePoint
	return min(0, c[0]+d*(c[1]+d*(c[2]+d*(c[3]+d*(c[4]+d*c[5]))))-273.15)
}

func ashraeAt(table *[tables.Percents]float64, x float64) float64 {
	return between(table[:], 100*x)
}

// solveMelinder inverts melinderFreeze by regula falsi with halving (the Illinois method): the curve falls all the way, which a
// test proves, and the bracket is kept.
func solveMelinder(m *tables.Melinder, t float64) MassFraction {
	return MassFraction(solve(func(x float64) float64 { return melinderFreeze(m, x) - t }, 0, float64(MaxMassFraction)))
}

// solveASHRAE inverts ashraeAt exactly: between two printed rows the curve is a straight line.
func solveASHRAE(table *[tables.Percents]float64, t float64) MassFraction {
	low, high := 0, tables.Percents-1
	for high-low > 1 {
		if mid := (low + high) / 2; table[mid] > t {
			low = mid
		} else {
			high = mid
		}
	}
	share := (table[low] - t) / (table[low] - table[high])
	return MassFraction((float64(low) + min(1, max(0, share))) / 100)
}

// solve finds the root of a monotone function between low and high, to 1e-12 in the argument. Without a change of sign it
// returns the end that is nearer to zero.
func solve(f func(float64) float64, low, high float64) float64 {
	fl, fh := f(low), f(high)
	if fl*fh > 0 {
		if math.Abs(fl) < math.Abs(fh) {
			return low
		}
		return high
	}
	side := 0
	for range 100 {
		if fl == fh || high-low < 1e-12 {
			break
		}
		x := (fl*high - fh*low) / (fl - fh)
		fx := f(x)
		if math.Abs(fx) < 1e-13 {
			return x
		}
		if fx*fh > 0 {
			high, fh = x, fx
			if side == -1 {
				fl /= 2
			}
			side = -1
		} else {
			low, fl = x, fx
			if side == 1 {
				fh /= 2
			}
			side = 1
		}
	}
	return (low + high) / 2
}

// checkFraction refuses a fluid that is none and a fraction that is impossible or beyond the tables.
func checkFraction(f Fluid, x MassFraction) error {
	if err := f.check(); err != nil {
		return err
	}
	if !(x >= 0 && x <= 1) {
		return &InvalidError{Field: "mass fraction", Value: decimal(x.Percent()) + " mass %", Reason: "a fraction between 0 and 100 %"}
	}
	if !f.IsGlycol() {
		if x != 0 {
			return &InvalidError{Field: "mass fraction", Value: x.String(), Reason: "0%, or the name of the glycol; " + f.Name() + " holds none"}
		}
		return nil
	}
	if x > MaxMassFraction {
		return &RangeError{"mass fraction of " + f.Name(), x.Percent(), 0, MaxMassFraction.Percent(), "mass %", freezeTable(f)}
	}
	return nil
}

func freezeTable(f Fluid) string {
	if f == EthyleneGlycol {
		return "Melinder 2010 and ASHRAE end at 60 mass %: the eutectic region lies above, where more glycol freezes warmer"
	}
	return "Melinder 2010 and ASHRAE end at 60 mass %: above it the liquid becomes a glass without a freeze point"
}
