// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "math"

// VolumeFractionOf returns the volume fraction before mixing at 20 °C that a mass fraction x of glycol, 0 to 1, is made from.
// Densities at 20 °C: pure glycol after the CRC Handbook (1113.5 and 1036.1 kg/m³), water after Kell 1975.
func VolumeFractionOf(f Fluid, x MassFraction) (VolumeFraction, error) {
	if err := checkAnyFraction(f, float64(x), "mass fraction"); err != nil {
		return 0, err
	}
	return volumeFraction(f, x), nil
}

// MassFractionOf returns the mass fraction made from a volume fraction before mixing at 20 °C, 0 to 1. It undoes
// [VolumeFractionOf].
func MassFractionOf(f Fluid, v VolumeFraction) (MassFraction, error) {
	if err := checkAnyFraction(f, float64(v), "volume fraction"); err != nil {
		return 0, err
	}
	if v == 0 {
		return 0, nil
	}
	glycol := float64(v) * f.glycol().Pure.Density20
	return MassFraction(glycol / (glycol + (1-float64(v))*waterDensity(20))), nil
}

func volumeFraction(f Fluid, x MassFraction) VolumeFraction {
	if x == 0 {
		return 0
	}
	glycol := float64(x) / f.glycol().Pure.Density20
	return VolumeFraction(glycol / (glycol + (1-float64(x))/waterDensity(20)))
}

// checkAnyFraction refuses a fluid that is none, a fraction outside 0 to 1, and glycol in water.
func checkAnyFraction(f Fluid, x float64, field string) error {
	if err := f.check(); err != nil {
		return err
	}
	if !(x >= 0 && x <= 1) {
		return &InvalidError{Field: field, Value: decimal(100*x) + " %", Reason: "a fraction between 0 and 100 %"}
	}
	if x != 0 && !f.IsGlycol() {
		return &InvalidError{Field: field, Value: decimal(100*x) + " %", Reason: "0%, or the name of the glycol; " + f.Name() + " holds none"}
	}
	return nil
}

// MassFractionForDensity returns the mass fraction of glycol whose density at t is d, to 1e-9. It undoes [Density] over the
// fractions that are liquid at t and, for propylene glycol, up to the density's maximum, above which a hydrometer cannot
// tell; a density outside is a [*RangeError], and water an [*InvalidError].
func MassFractionForDensity(f Fluid, d KilogramPerLitre, t Celsius) (MassFraction, error) {
	lowest, highest, err := densityBranch(f, t)
	if err != nil {
		return 0, err
	}
	low, high := density(f, lowest, t), density(f, highest, t)
	if !(d >= low && d <= high) {
		return 0, &RangeError{
			"density of " + f.Name() + " at " + t.String(), d.KilogramsPerCubicMetre(),
			low.KilogramsPerCubicMetre(), high.KilogramsPerCubicMetre(), "kg/m³",
			"Melinder 2010, " + lowest.String() + " to " + highest.String(),
		}
	}
	return MassFraction(solve(func(x float64) float64 {
		return float64(density(f, MassFraction(x), t) - d)
	}, float64(lowest), float64(highest))), nil
}

// densityBranch returns the fractions between which the density at t rises all the way.
func densityBranch(f Fluid, t Celsius) (lowest, highest MassFraction, err error) {
	if !f.IsGlycol() {
		if err := f.check(); err != nil {
			return 0, 0, err
		}
		return 0, 0, noGlycol(f)
	}
	if t < 0 {
		if lowest, err = MassFractionForFreezePoint(f, t); err != nil {
			return 0, 0, err
		}
	}
	if err := checkState(f, MaxMassFraction, t); err != nil {
		return 0, 0, err
	}
	const step MassFraction = 0.005
	highest = MaxMassFraction
	for highest-step > lowest && density(f, highest-step, t) >= density(f, highest, t) {
		highest -= step
	}
	return lowest, highest, nil
}

// noGlycol refuses to look for glycol in water.
func noGlycol(f Fluid) error {
	return &InvalidError{Field: "fluid", Value: string(f), Reason: "eg or pg; this holds no glycol to measure"}
}

// LiquidDensity returns the density of any strength of glycol, 0 to 1: as [Density] up to [MaxMassFraction]; above it on the
// straight line from Melinder at 60 mass % to the pure glycol at 20 °C (CRC Handbook), shifted with the temperature like
// Melinder's 60 mass %. That estimate is within 0.5 % (k = 2); a label's own figure is better, and grams
// decide.
func LiquidDensity(f Fluid, x MassFraction, t Celsius) (KilogramPerLitre, error) {
	if x <= MaxMassFraction || !f.IsGlycol() {
		return Density(f, x, t)
	}
	if err := checkAnyFraction(f, float64(x), "mass fraction"); err != nil {
		return 0, err
	}
	if err := checkState(f, MaxMassFraction, t); err != nil {
		return 0, err
	}
	at20 := float64(density(f, MaxMassFraction, 20))
	share := float64((x - MaxMassFraction) / (1 - MaxMassFraction))
	line := at20 + share*(f.glycol().Pure.Density20/1000-at20)
	return KilogramPerLitre(line + float64(density(f, MaxMassFraction, t)) - at20), nil
}

// densityApart is how far a label's density may lie from that of glycol in water: additives add up to 2 %.
const densityApart = 0.03

// checkLabelDensity refuses a density by the label that is the other glycol's or neither's: then strength or fluid is wrong too.
func checkLabelDensity(f Fluid, x MassFraction, d KilogramPerLitre, t Celsius) error {
	if !f.IsGlycol() || x < 0.25 {
		return nil // thin liquids weigh alike
	}
	other := EthyleneGlycol
	if f == other {
		other = PropyleneGlycol
	}
	own, err := LiquidDensity(f, x, t)
	if err != nil {
		return err
	}
	wrong, err := LiquidDensity(other, x, t)
	if err != nil {
		return err
	}
	reason := ""
	switch off, near := math.Abs(float64(d-own)), math.Abs(float64(d-wrong)); {
	case near < off && off > 0.02*float64(own):
		reason = "is that of " + other.Name() + " at " + x.String()
	case off > densityApart*float64(own):
		reason = "is that of neither glycol at " + x.String()
	}
	if reason == "" {
		return nil
	}
	return &InvalidError{"concentrate density", d.String(), reason + "; " + f.Name() + " has " + own.String() + ": read the label again"}
}
