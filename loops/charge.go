// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"

	"fillmark/chemistry"
)

// Charge is the liquid now in a loop.
type Charge struct {
	// Fluid is empty where nobody knows what a factory or somebody unknown
	// filled in; such a charge has no strength.
	Fluid chemistry.Fluid `json:"fluid"`
	// Mass is the glycol mass fraction; nil where it is not known. For water
	// it is zero.
	Mass            *chemistry.MassFraction `json:"mass_fraction,omitempty"`
	MassUncertainty chemistry.MassFraction  `json:"mass_fraction_uncertainty,omitempty"` // k = 2
	MassKnown       Known                   `json:"mass_fraction_known,omitzero"`
	// Volume is what was filled in; zero where it was not measured. After a top-up
	// it is what was in the loop before and what was poured, with what is still
	// missing to the fill mark: what is in it is the Volume less [State.Missing].
	// Room that was left on purpose at the fill is missing to the mark too, so a
	// reading of it takes off what never was in; how much that was only the
	// volume of the loop tells, which a history does not.
	Volume chemistry.Litre `json:"volume_l,omitempty"`
	Origin Origin          `json:"origin"`
	// FilledFrom and FilledTo bound the day of the fill. They are equal where
	// it is known; FilledFrom is zero where nothing is known before FilledTo.
	FilledFrom Day `json:"filled_from,omitzero"`
	FilledTo   Day `json:"filled_to"`
	// Additives are all that went into it, each with its own day and life. A
	// role of which nobody said anything has none here; "none" is a family.
	Additives []Dosed `json:"additives,omitempty"`
	// FluidLifeMonths is the life that the fluid's label declares; zero if none.
	FluidLifeMonths int `json:"fluid_life_months,omitempty"`
	// FormulatedProduct tells that the inhibitor came in the coolant, so that
	// renewing it means changing the coolant unless ReDosable.
	FormulatedProduct bool   `json:"formulated_product,omitempty"`
	ReDosable         bool   `json:"re_dosable,omitempty"`
	Product           string `json:"product,omitempty"` // as on the label
	Lot               string `json:"lot,omitempty"`
}

// anyFluid lists what a loop may be on record with: also what should not be in
// one.
func anyFluid() []chemistry.Fluid { return append(chemistry.Fluids(), chemistry.OtherLiquids()...) }

// Origin is who put a charge into its loop. Factory and workshop charges are
// never pooled in the statistics.
type Origin string

// The origins.
const (
	Factory       Origin = "factory"
	WorkshopFill  Origin = "workshop"
	UnknownOrigin Origin = "unknown"
)

func (c Charge) validate() error {
	var p problems
	unknown := c.Fluid == "" && (c.Origin == Factory || c.Origin == UnknownOrigin)
	if !unknown {
		p.add(oneOf("fluid", c.Fluid, anyFluid()...))
	} else if c.Mass != nil || c.MassUncertainty != 0 {
		p.add(invalid("strength", "given", "no strength where the fluid is not known"))
	}
	if c.Mass != nil && !unknown {
		top := chemistry.MassFraction(0)
		switch {
		case c.Fluid.IsGlycol():
			top = 0.6
		case c.Fluid.Further():
			top = 1
		}
		p.add(inRange("strength", *c.Mass, 0, top, "as a mass fraction (of a glycol above 0.6 no freeze point is published)"))
	}
	p.add(inRange("strength uncertainty", c.MassUncertainty, 0, 0.6, "as a mass fraction"))
	p.add(inRange("volume", c.Volume, 0, 1000, "litres"))
	p.add(oneOf("origin", c.Origin, Factory, WorkshopFill, UnknownOrigin))
	p.add(c.FilledTo.validate("filled to"))
	if !c.FilledFrom.IsZero() {
		p.add(c.FilledFrom.validate("filled from"))
	}
	if c.FilledFrom.After(c.FilledTo) {
		p.add(invalid("filled to", c.FilledFrom.String()+" to "+c.FilledTo.String(), "a day, or two days in order"))
	}
	p.add(c.MassKnown.validate("strength"))
	if len(c.Additives) > maxAdditives {
		p.add(invalid("additive", len(c.Additives), fmt.Sprintf("at most %d", maxAdditives)))
	}
	for _, a := range c.Additives {
		p.add(a.validate())
	}
	p.add(inRange("fluid life", float64(c.FluidLifeMonths), 0, 600, "months"))
	p.add(checkText("product", c.Product, 200, false))
	p.add(checkText("lot", c.Lot, 60, false))
	return p.err()
}

// ReadStrength and AssumedStrength are how sure a strength is taken to be (k = 2)
// of which nobody said it: as an instrument read it, and else (common practice,
// no source).
const (
	ReadStrength    chemistry.MassFraction = 0.01
	AssumedStrength chemistry.MassFraction = 0.02
)

// Sure is the charge with how sure its strength is: of a glycol's that nobody
// said it of, it is assumed, and the charge says so.
func (c Charge) Sure() Charge {
	water := c.Fluid.Valid() && !c.Fluid.IsGlycol()
	if c.Mass == nil || c.MassUncertainty != 0 || c.Fluid == "" || water {
		return c
	}
	if c.MassUncertainty = AssumedStrength; c.MassKnown.How == Measured {
		c.MassUncertainty = ReadStrength
	}
	c.MassKnown.By = strings.TrimPrefix(c.MassKnown.By+"; ± "+c.MassUncertainty.String()+" assumed", "; ")
	return c
}

// benchTemperature is the temperature at which poured volumes are turned to
// masses: volume fractions are defined at it.
const benchTemperature chemistry.Celsius = 20

// toppedUp returns the charge after a top-up, by the balance of glycol and
// water masses. Where anything is unknown, or another glycol went in, the
// strength is unknown afterwards: only a reading can tell it. A top-up makes
// nothing surer than it was. Held is what was in the loop before it.
func (c Charge) toppedUp(t *TopUp, held chemistry.Litre) Charge {
	unknown := c
	unknown.Mass, unknown.MassUncertainty, unknown.MassKnown = nil, 0, Known{How: NotKnown}
	if c.Volume <= 0 {
		return unknown
	}
	kept := held - t.Drained
	c.Volume = max(0, kept+t.added()+t.Missing)
	unknown.Volume = c.Volume
	if c.Mass == nil || kept < 0 {
		return unknown
	}
	density, err := chemistry.LiquidDensity(c.Fluid, *c.Mass, benchTemperature)
	if err != nil {
		return unknown
	}
	total := float64(kept) * float64(density)
	glycol, off := total*float64(*c.Mass), total*float64(c.MassUncertainty)
	for _, pour := range t.Poured {
		density, err := chemistry.LiquidDensity(pour.Fluid, pour.Mass, benchTemperature)
		if err != nil || (pour.Fluid != c.Fluid && pour.Mass > 0) {
			return unknown
		}
		mass := float64(pour.Volume) * float64(density)
		total += mass
		glycol += mass * float64(pour.Mass)
		off += mass * float64(pour.MassUncertainty) // two pours of one label are off alike
	}
	if total <= 0 {
		return unknown
	}
	mass := chemistry.MassFraction(glycol / total)
	c.MassUncertainty = max(c.MassUncertainty, chemistry.MassFraction(off/total))
	c.Mass, c.MassKnown = &mass, Known{How: Calculated, By: "balance of what was in it and what went in"}
	return c
}
