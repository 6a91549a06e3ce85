// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

// Usual is what resistances are compared with: a loop's own baseline, or what
// is usual where there is none.
type Usual struct {
	Mount, Radiator KelvinPerWatt
	Rise            float64 // K across the plate at the power of the reading; zero where not known
	// Own tells that the figures are the loop's own baseline.
	Own bool
}

// UsualFigures are the upper ends of what desktop loops show, from memory and
// ± 50 %: good only to tell a fault that is large. A loop's own baseline is
// always better.
func UsualFigures() Usual { return Usual{Mount: 0.20, Radiator: 0.10} }

// factor is how far above the compared figure a resistance counts as up.
func (u Usual) factor() float64 {
	if u.Own {
		return LimitFactor
	}
	return 1.5
}

// farFactor is how far above it a resistance must be to count as far up, and
// 1/downFactor how far below to count as down.
const (
	farFactor  = 3
	downFactor = 1.3
)

// SignsOf returns the signs that the figures of a reading show against what is
// usual. A figure whose uncertainty does not let it be told from the bound is
// left out, and so is one that was refused.
func SignsOf(r Reading, f Figures, usual Usual) Seen {
	seen := Seen{}
	if f.Mount != nil && usual.Mount > 0 {
		switch ratio, u := ratios(f.Mount, usual.Mount); {
		case ratio-u > farFactor:
			seen[SignMount] = FarUp
		case ratio-u > 1 && ratio > usual.factor():
			seen[SignMount] = Up
		case ratio < usual.factor():
			seen[SignMount] = Same
		}
	}
	if f.Radiator != nil && usual.Radiator > 0 {
		switch ratio, u := ratios(f.Radiator, usual.Radiator); {
		case ratio-u > 1 && ratio > usual.factor():
			seen[SignRadiator] = Up
		case usual.Own && ratio+u < 1 && ratio < 1/downFactor:
			seen[SignRadiator] = Down
		case !usual.Own && seen[SignMount] == FarUp && ratio < 1/downFactor:
			// Coolant that stays near the room while the die is hot may as well
			// not move; only the loop's own baseline tells low from usual.
		case ratio < usual.factor():
			seen[SignRadiator] = Same
		}
	}
	if r.CoolantIn != nil && r.CoolantOut != nil && r.Power != nil {
		rise := float64(r.CoolantOut.Sub(*r.CoolantIn))
		switch {
		case rise < r.smallestRise():
			seen[SignRise] = TooSmall
		case usual.Rise > 0 && rise > LimitFactor*usual.Rise:
			seen[SignRise] = Up
		case usual.Rise > 0:
			seen[SignRise] = Same
		}
	}
	return seen
}

// ratios returns a figure relative to the usual one, and its uncertainty.
func ratios(m *Measured[KelvinPerWatt], usual KelvinPerWatt) (ratio, uncertainty float64) {
	return float64(m.Value / usual), float64(m.Uncertainty / usual)
}

// AddLog adds what a temperature log shows; an uncertain class adds nothing.
func (s Seen) AddLog(t Transient) {
	switch t.Class {
	case MountSuspect:
		s[SignLog] = LogMount
	case NoFlowSeen:
		s[SignLog] = LogNoFlow
	case FlowPresent:
		s[SignLog] = LogPresent
	}
}
