// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"slices"

	"fillmark/chemistry"
)

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

// Reason is one rule that fired.
type Reason struct {
	Rule    string            `json:"rule"`
	Verdict chemistry.Verdict `json:"verdict"`
	Text    string            `json:"text"`
	Source  string            `json:"source"`
	Grade   chemistry.Grade   `json:"grade"`
}

// ReasonsOf converts what chemistry computed, the worst first; never nil.
func ReasonsOf(reasons []chemistry.Reason) []Reason {
	out := make([]Reason, 0, len(reasons))
	for _, r := range reasons {
		out = append(out, Reason{r.Rule, r.Verdict, r.Text, r.Source, r.Grade})
	}
	slices.SortStableFunc(out, func(a, b Reason) int {
		switch {
		case a.Verdict.Worse(b.Verdict):
			return -1
		case b.Verdict.Worse(a.Verdict):
			return 1
		}
		return 0
	})
	return out
}

// Caution is what one substance can do and how to handle it.
type Caution struct {
	Substance string   `json:"substance"`
	Signal    string   `json:"signal,omitempty"`
	H         []string `json:"h,omitempty"`
	P         []string `json:"p,omitempty"`
	Text      string   `json:"text"`
	Lines     []string `json:"lines,omitempty"` // in place of the text, one by one
	Source    string   `json:"source"`
}

// CautionsOf converts what chemistry computed; never nil.
func CautionsOf(cautions []chemistry.Caution) []Caution {
	out := make([]Caution, 0, len(cautions))
	for _, c := range cautions {
		out = append(out, Caution{c.Substance, c.Signal, c.H, c.P, c.Text, c.Fixed(), c.Source})
	}
	return out
}
