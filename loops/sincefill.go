// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "fillmark/chemistry"

// SinceFill is what a loop's history says about its present charge beyond the
// folded state: how strong it was filled, what top-ups left of its additives,
// and the last pH. It is reckoned where it is asked for, not kept.
type SinceFill struct {
	// FilledMass is the strength at the fill; nil where it was not known.
	FilledMass *chemistry.MassFraction
	// InhibitorLeft and BiocideLeft are shares of what was dosed, 1 where
	// nothing thinned it since; 0 where the volume is not known.
	InhibitorLeft, BiocideLeft float64
	// PH is the last one measured since the fill; nil if none.
	PH *float64
}

// SinceFillOf walks the standing entries since the last fill. Liquid poured in
// a top-up counts as free of additives; a dose renews its own, and the pH that
// was read before it no longer holds.
func SinceFillOf(history []Entry) SinceFill {
	var s SinceFill
	var volume chemistry.Litre
	for _, e := range Standing(history) {
		switch e.Kind {
		case KindFill:
			charge := e.Fill.Charge
			s = SinceFill{FilledMass: charge.Mass, InhibitorLeft: 1, BiocideLeft: 1}
			volume = charge.Volume
		case KindTopUp:
			kept := volume - e.TopUp.Drained
			after := kept
			for _, pour := range e.TopUp.Poured {
				after += pour.Volume
			}
			share := 0.0
			if volume > 0 && kept > 0 {
				share = float64(kept / after)
			}
			s.InhibitorLeft, s.BiocideLeft, volume = s.InhibitorLeft*share, s.BiocideLeft*share, max(0, after)
		case KindDose:
			s.PH = nil // what was read before says nothing of what it is now
			if e.Dose.Role == RoleInhibitor {
				s.InhibitorLeft = 1
			} else {
				s.BiocideLeft = 1
			}
		case KindInspection:
			if e.Inspection.PH != nil {
				s.PH = e.Inspection.PH
			}
		}
	}
	return s
}
