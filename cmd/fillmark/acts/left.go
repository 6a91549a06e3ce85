// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// remained is how much a drain left in the loop; zero where nobody wrote that down.
func (s Snapshot) remained(on loops.Day) chemistry.Litre {
	if remains := s.On(on).Remains; remains != nil {
		return remains.Left
	}
	return 0
}

// leftInside is what a drain left in the loop, as a liquid that a fill is thinned
// by: water where it was rinsed since, else the old charge. None where nobody
// wrote down how much, where nobody knows what it was, and for a mixture that
// has no strength: that is another reason's to tell.
func (s Snapshot) leftInside(on loops.Day, poured []loops.Pour) []loops.Pour {
	remains := s.On(on).Remains
	if remains == nil || remains.Left == 0 || !slices.ContainsFunc(poured, func(p loops.Pour) bool { return p.Fluid.IsGlycol() }) {
		return nil
	}
	left := loops.Pour{Liquid: "water", Fluid: chemistry.DeionisedWater, Volume: remains.Left}
	if remains.Rinsed || !remains.Fluid.IsGlycol() && remains.Fluid != "" {
		return []loops.Pour{left}
	}
	same := slices.ContainsFunc(poured, func(p loops.Pour) bool { return p.Fluid == remains.Fluid })
	if old := s.lifeOn(on).Charge; same && old != nil && old.Fluid == remains.Fluid && old.Mass != nil {
		left.Liquid, left.Fluid, left.Mass, left.MassUncertainty = "old charge", old.Fluid, *old.Mass, old.MassUncertainty
		return []loops.Pour{left}
	}
	return nil
}
