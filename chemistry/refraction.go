// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "fillmark/chemistry/tables"

// IndexAt returns the refractive index at t, 0 to 40 °C, of a liquid with mass fraction x of glycol, 0 to [MaxMassFraction]: its
// value at 20 °C, a temperature coefficient that holds from 20 to 30 °C (for ethylene glycol an estimate) and, for the share of
// water, the bend of water's own index after IAPWS 1997.
func IndexAt(f Fluid, x MassFraction, t Celsius) (RefractiveIndex, error) {
	if err := checkFraction(f, x); err != nil {
		return 0, err
	}
	if !(t >= minIndexTemperature && t <= maxIndexTemperature) {
		return 0, &RangeError{"sample temperature", float64(t), minIndexTemperature, maxIndexTemperature, "°C", "temperature coefficient of the refractive index: let the sample come to room temperature"}
	}
	return indexAt(f, x, t), nil
}

func indexAt(f Fluid, x MassFraction, t Celsius) RefractiveIndex {
	return refractiveIndex20(f, x) + RefractiveIndex(indexSlope(f, x)*float64(t-20)+float64(1-x)*waterBend(t))
}

// waterBend is by how much the index of water leaves the straight line through 20 °C, t from 0 to 40 °C: −0.0011 at 0 °C.
func waterBend(t Celsius) float64 {
	w := tables.LiquidWater()
	return between(w.Index[:], float64(t)) - w.Index[20] - indexSlope(DeionisedWater, 0)*float64(t-20)
}

// The temperature coefficient of the index is known for 20 to 30 °C; up to 20 K away it is used with a wider uncertainty.
const minIndexTemperature, maxIndexTemperature = 0, 40

// indexSlope is dn/dT in 1/K.
func indexSlope(f Fluid, x MassFraction) float64 {
	if !f.IsGlycol() {
		return tables.Ethylene().DNDT[0] // without glycol both fits are water (IAPWS 1997)
	}
	c := &f.glycol().DNDT
	return c[0] + float64(x)*(c[1]+float64(x)*c[2])
}

// MassFractionForIndex returns the mass fraction of glycol whose refractive index at t (0 to 40 °C) is n, to 1e-9. It undoes
// [IndexAt]. An index that no fraction from 0 to [MaxMassFraction] has is a [*RangeError], and water an [*InvalidError].
func MassFractionForIndex(f Fluid, n RefractiveIndex, t Celsius) (MassFraction, error) {
	low, err := IndexAt(f, 0, t)
	if err != nil {
		return 0, err
	}
	if !f.IsGlycol() {
		return 0, noGlycol(f)
	}
	high, err := IndexAt(f, MaxMassFraction, t)
	if err != nil {
		return 0, err
	}
	if !(n >= low && n <= high) {
		return 0, &RangeError{"refractive index of " + f.Name(), float64(n), float64(low), float64(high), "nD", "0 to 60 mass % at the sample's temperature"}
	}
	return MassFraction(solve(func(x float64) float64 {
		return float64(indexAt(f, MassFraction(x), t) - n)
	}, 0, float64(MaxMassFraction))), nil
}

// localIndexSlope is dn/dT at t in 1/K, the bend of water included.
func localIndexSlope(f Fluid, x MassFraction, t Celsius) float64 {
	low, high := max(minIndexTemperature, t-1), min(maxIndexTemperature, t+1)
	return float64(indexAt(f, x, high)-indexAt(f, x, low)) / float64(high-low)
}

// BrixIndex returns the refractive index at 20 °C that belongs to a Brix reading, −5 to 95 (ICUMSA 1974, linear
// interpolation; below 0 on the slope of the first step).
func BrixIndex(b Brix) RefractiveIndex { return indexOf(min(max(b, -5), 95)) }

// refractiveIndex20 is the index at 20 °C: CRC Handbook 102nd ed. for ethylene glycol (within 0.00006); MacBeth and Thompson 1951 and
// Gerke 2023 for propylene glycol (within 0.0003); ICUMSA 1974 for water. Additives and dyes change it.
func refractiveIndex20(f Fluid, x MassFraction) RefractiveIndex {
	if !f.IsGlycol() {
		return RefractiveIndex(tables.All().Brix[0])
	}
	c := &f.glycol().ND20
	w := float64(x)
	return RefractiveIndex(c[0] + w*(c[1]+w*(c[2]+w*(c[3]+w*c[4]))))
}

// brixOf reads the ICUMSA table backwards. An index below that of water, which a cold or ill-zeroed instrument can show, gives
// a small negative Brix on the slope of the first step; above 95 Brix it stops at 95.
func brixOf(n RefractiveIndex) Brix {
	table := tables.All().Brix
	low, high := 0, len(table)-1
	for high-low > 1 {
		if mid := (low + high) / 2; table[mid] > float64(n) {
			high = mid
		} else {
			low = mid
		}
	}
	share := (float64(n) - table[low]) / (table[high] - table[low])
	return Brix(float64(low) + min(1, share))
}

// indexOf reads the ICUMSA table, b from −5 to 95.
func indexOf(b Brix) RefractiveIndex {
	table := tables.All().Brix
	i := max(0, min(int(b), len(table)-2))
	return RefractiveIndex(table[i] + (float64(b)-float64(i))*(table[i+1]-table[i]))
}
