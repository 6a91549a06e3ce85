// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"

	"fillmark/chemistry"
)

// SinceFill is what a loop's history says about its present charge beyond the
// folded state: how strong it was filled, what top-ups left of its additives,
// and the last pH. It is worked out where it is asked for, not kept.
type SinceFill struct {
	// FilledMass is the strength at the fill; nil where it was not known.
	FilledMass *chemistry.MassFraction
	// Doses are the shares that are left of the additives of which the label's
	// dose is known, 1 where nothing thinned it since. One whose share is not
	// known, since no volume is, has none.
	Doses []chemistry.DoseLevel
	// PH is the last one measured since the fill; nil if none.
	PH *float64
	// Formulated are the containers that it was filled from, where the inhibitor
	// came in the coolant: what else is in them has the same one.
	Formulated []ContainerID
}

// SinceFillOf walks the standing entries since the charge began. Liquid poured in
// a top-up counts as free of additives; a dose renews its own, and the pH that
// was read before it no longer holds.
func SinceFillOf(history []Entry) SinceFill {
	var s SinceFill
	var before State
	var dosed []Dosed
	var left []float64 // of each dosed
	for e, after := range States(history) {
		switch e.Kind {
		case KindSwap:
			s, dosed, left = SinceFill{}, nil, nil
		case KindFill:
			s = SinceFill{FilledMass: e.Fill.Charge.Mass}
			dosed = slices.DeleteFunc(slices.Clone(e.Fill.Charge.Additives), Dosed.None)
			for _, p := range e.Fill.Poured {
				if e.Fill.Charge.FormulatedProduct && p.Container != 0 {
					s.Formulated = append(s.Formulated, p.Container)
				}
			}
			left = slices.Repeat([]float64{1}, len(dosed))
		case KindTopUp:
			share := before.thinned(e.TopUp)
			for i := range left {
				left[i] *= share
			}
		case KindDose:
			s.PH = nil // what was read before says nothing of what it is now
			d := Dosed{e.Dose.Role, e.Dose.Additive}
			switch i := slices.IndexFunc(dosed, d.same); {
			case d.None():
				continue
			case i >= 0:
				left[i] = 1
			default:
				left = append(left, 1)
			}
			dosed = renewed(dosed, d)
		case KindInspection:
			if e.Inspection.PH != nil {
				s.PH = e.Inspection.PH
			}
		}
		before = after
	}
	for i, d := range dosed {
		if d.DoseMLPerL > 0 && left[i] > 0 {
			s.Doses = append(s.Doses, chemistry.DoseLevel{Name: d.Name(), Level: left[i]})
		}
	}
	return s
}

// thinned returns the share of an additive that a top-up leaves; 0 where it is not
// known how much was in the loop.
func (s State) thinned(t *TopUp) float64 {
	kept := s.Held() - t.Drained
	if kept <= 0 {
		return 0
	}
	return float64(kept / (kept + t.added()))
}

// TopUpRequest is what is on record of the loop and of the charge in it, as
// chemistry asks it of a top-up; how much it holds and what goes in is asked for.
func (l Loop) TopUpRequest(c Charge, since SinceFill) chemistry.TopUpRequest {
	contents := c.Contents()
	r := chemistry.TopUpRequest{
		Fluid: c.Fluid, Mass: c.Mass, MassUncertainty: c.MassUncertainty, FilledMass: since.FilledMass, Doses: since.Doses, PH: since.PH,
		Inhibitor: contents.Inhibitor, Biocide: contents.Biocide, Additives: contents.Additives,
		Metals: l.Metals(), Materials: l.Materials, WithinReach: l.WithinReach(), Sealed: l.Sealed, Hottest: l.Hottest, NoFrost: l.NoFrost,
	}
	if wall, ok := l.Wall(); ok {
		r.Protect = &wall
	}
	return r
}
