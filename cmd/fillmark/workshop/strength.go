// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import "fillmark/chemistry"

// Strength is how strong a liquid is, said three ways, as answers print it:
// percent, °C and K, unrounded. The uncertainty is k = 2.
type Strength struct {
	MassPercent           float64 `json:"mass_percent"`
	VolumePercent         float64 `json:"volume_percent"` // before mixing at 20 °C
	FreezePointC          float64 `json:"freeze_point_c"`
	FreezePointUncertainK float64 `json:"freeze_point_uncertainty_k"`
}

// StrengthOf converts what chemistry computed.
func StrengthOf(s chemistry.FractionState) Strength {
	return Strength{
		MassPercent: s.Mass.Percent(), VolumePercent: s.Volume.Percent(),
		FreezePointC: float64(s.Freeze.Stated), FreezePointUncertainK: float64(s.Freeze.Uncertainty),
	}
}

// Step is one thing to do at the bench; amounts are zero where nothing is
// measured.
type Step struct {
	Do       string  `json:"do"`
	What     string  `json:"what"`
	VolumeML float64 `json:"volume_ml"`
	MassG    float64 `json:"mass_g"`
}

// StepsOf converts what chemistry computed; never nil, so that JSON has a list.
func StepsOf(steps []chemistry.Step) []Step {
	out := make([]Step, 0, len(steps))
	for _, s := range steps {
		out = append(out, Step{Do: s.Do, What: s.What, VolumeML: s.Volume.Millilitres(), MassG: s.Mass.Grams()})
	}
	return out
}

// MassOf is a strength that was typed in mass % or, where the basis is "volume", in
// volume % before mixing at 20 °C. Zero, which is not said, stays.
func MassOf(fluid chemistry.Fluid, basis string, typed chemistry.MassFraction) (chemistry.MassFraction, error) {
	if basis != "volume" || typed == 0 {
		return typed, nil
	}
	return chemistry.MassFractionOf(fluid, chemistry.VolumeFraction(typed))
}
