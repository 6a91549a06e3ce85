// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"math"

	"fillmark/chemistry"
	"fillmark/loops"
)

// File is everything on record about one loop.
type File struct {
	Loop    loops.Loop    `json:"loop"`
	Machine loops.Machine `json:"machine"`
	// Owner is the zero value for a donor unit.
	Owner   loops.Owner   `json:"owner,omitzero"`
	History []loops.Entry `json:"history"`
	// Protection is nil where the charge or its strength is not known.
	Protection *Protection `json:"protection,omitempty"`
	// Scale is nil where nothing was weighed.
	Scale *Scale `json:"scale,omitempty"`
	// Readings is nil where no temperature was read.
	Readings *Readings `json:"readings,omitempty"`
}

// Protection sets a charge's freeze point against the coldest wall.
type Protection struct {
	FreezePoint chemistry.Celsius      `json:"freeze_point_c"`
	Uncertainty chemistry.CelsiusDelta `json:"freeze_point_uncertainty_k"` // k = 2
	// Wall is nil where nothing in the loop can freeze.
	Wall *chemistry.Celsius `json:"coldest_wall_c,omitempty"`
	// Holds tells that even the warm end of the freeze point is below the wall.
	Holds bool `json:"holds"`
}

// File reads everything on record about the loop with the tag.
func (w *Workshop) File(tag loops.Tag) (File, error) {
	loop, err := w.register.LoopByTag(tag)
	if err != nil {
		return File{}, fmt.Errorf("loop %s: %w", tag, err)
	}
	return w.fileOf(loop)
}

func (w *Workshop) fileOf(loop loops.Loop) (File, error) {
	file := File{Loop: loop}
	var err error
	if file.Machine, err = w.register.Machine(loop.Machine); err != nil {
		return File{}, fmt.Errorf("machine %d: %w", loop.Machine, err)
	}
	if file.Machine.Owner != 0 {
		if file.Owner, err = w.register.Owner(file.Machine.Owner); err != nil {
			return File{}, fmt.Errorf("owner %d: %w", file.Machine.Owner, err)
		}
	}
	if file.History, err = w.register.History(loop.ID); err != nil {
		return File{}, err
	}
	file.Protection = ProtectionOf(loop)
	file.Scale = ScaleOf(loop, file.History)
	file.Readings = ReadingsOf(loop, file.History)
	return file, nil
}

// ProtectionOf computes what a loop's charge protects to; nil where there is
// no charge, its strength is unknown or outside the published tables.
func ProtectionOf(loop loops.Loop) *Protection {
	charge := loop.State.Charge
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
	p := &Protection{FreezePoint: freeze.Stated, Uncertainty: uncertainty, Holds: true}
	if wall, ok := loop.Wall(); ok {
		p.Wall = &wall
		p.Holds = freeze.Stated.Add(uncertainty) < wall
	}
	return p
}
