// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"math"

	"fillmark/chemistry"
)

// Protection sets a charge's freeze point against the coldest wall.
type Protection struct {
	FreezePoint chemistry.Celsius      `json:"freeze_point_c"`
	Uncertainty chemistry.CelsiusDelta `json:"freeze_point_uncertainty_k"` // k = 2
	// Wall is nil where it is not known, or where NoFrost says that nothing in
	// the loop can freeze.
	Wall      *chemistry.Celsius `json:"coldest_wall_c,omitempty"`
	WallKnown Known              `json:"coldest_wall_known,omitzero"`
	NoFrost   bool               `json:"nothing_can_freeze,omitempty"`
	// Holds tells that even the warm end of the freeze point is below the wall,
	// or that nothing can freeze. It is false where the wall is not known.
	Holds bool `json:"holds"`
}

// WarmEnd is the warm end of the freeze point's interval.
func (p Protection) WarmEnd() chemistry.Celsius { return p.FreezePoint.Add(p.Uncertainty) }

// Protection works out what the loop's charge protects to; nil where there is
// no charge, its strength is not known or outside the published tables.
func (l Loop) Protection() *Protection {
	charge := l.State.Charge
	if charge == nil || charge.Mass == nil {
		return nil
	}
	freeze, err := chemistry.FreezePoint(charge.Fluid, *charge.Mass)
	if err != nil {
		return nil
	}
	weaker, err := chemistry.FreezePoint(charge.Fluid, max(0, *charge.Mass-charge.MassUncertainty))
	if err != nil {
		return nil
	}
	// First order: the strength's uncertainty carried to the freeze point on
	// its weak side, which is the one that freezes.
	byStrength := weaker.Stated.Sub(freeze.Stated)
	uncertainty := chemistry.CelsiusDelta(math.Hypot(float64(freeze.Uncertainty), float64(byStrength)))
	p := &Protection{FreezePoint: freeze.Stated, Uncertainty: uncertainty, NoFrost: l.NoFrost, Holds: l.NoFrost}
	if wall, ok := l.Wall(); ok {
		p.Wall, p.WallKnown = &wall, l.ColdestWallKnown
		p.Holds = p.WarmEnd() < wall
	}
	return p
}

// Contents says what is in the charge, for rules and cautions. A family on
// record that chemistry does not know counts as unknown.
func (c Charge) Contents() chemistry.Contents {
	contents := contents(c.Additives)
	contents.Fluid, contents.Mass = c.Fluid, c.Mass
	return contents
}

// Contents says what stayed in the loop, as [Charge.Contents] does.
func (r Remains) Contents() chemistry.Contents {
	contents := contents(r.Additives)
	contents.Fluid = r.Fluid
	return contents
}
