// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "fillmark/chemistry"

// Loop is one wetted circuit of a machine, how it is built, and what its
// history folds to. State and Plan are derived: only what built them is
// entered by people.
type Loop struct {
	ID      LoopID    `json:"id"`
	Machine MachineID `json:"machine"`
	Tag     Tag       `json:"tag"`
	// Revision rises by one with every write to the loop or its history.
	Revision uint64 `json:"revision"`
	// LastEntry numbers the newest entry of the history; zero while it is empty.
	LastEntry EntryID `json:"last_entry,omitempty"`
	// Name tells the loops of one machine apart; empty where it has one.
	Name string `json:"name,omitempty"`
	Construction
	State State `json:"state"`
	Plan  Plan  `json:"plan"`
}

// Construction is how a loop is built.
type Construction struct {
	// Sealed loops have no fill port: nothing is looked at or sampled in them.
	Sealed bool `json:"sealed"`
	// BuiltKnown tells how it is known how the loop is built: not known where
	// nobody looked yet, which is then taken for sealed, the stricter of the two;
	// assumed where another unit of its model was taken for it.
	BuiltKnown Known `json:"built_known,omitzero"`
	// Volume is what the whole loop holds, zero where that is not known yet;
	// VolumeUncertainty is k = 2, zero where it was not stated.
	Volume            chemistry.Litre `json:"volume_l"`
	VolumeUncertainty chemistry.Litre `json:"volume_uncertainty_l,omitempty"`
	VolumeKnown       Known           `json:"volume_known,omitzero"`
	// Wetted lists every material the liquid touches, part by part.
	Wetted []WettedPart `json:"wetted,omitempty"`
	// Materials are the seals and plastics that it touches beside the metals;
	// empty where that is not known, and none where there are none.
	Materials []chemistry.Material `json:"materials,omitempty"`
	Tubing    Tubing               `json:"tubing,omitzero"`
	// PumpPlace and Mounting are words: "in the cold plate", "radiator on top".
	PumpPlace      string  `json:"pump_place,omitempty"`
	Mounting       string  `json:"mounting,omitempty"`
	RadiatorSizeMM float64 `json:"radiator_size_mm,omitempty"`
	// ColdestWall is the coldest wetted wall in use, storage or transport; nil
	// where that is not known, or where NoFrost says that nothing can freeze.
	ColdestWall      *chemistry.Celsius `json:"coldest_wall_c,omitempty"`
	ColdestWallKnown Known              `json:"coldest_wall_known,omitzero"`
	// NoFrost tells that somebody said nothing in the loop can freeze, in use,
	// storage or transport.
	NoFrost bool `json:"nothing_can_freeze,omitempty"`
	// SetPoint and EvaporatorMargin are asked for chillers only: how far the
	// maker lets the evaporator wall fall below the set point. Without both a
	// chiller's coldest wall is not known, however warm its room.
	SetPoint         *chemistry.Celsius      `json:"set_point_c,omitempty"`
	EvaporatorMargin *chemistry.CelsiusDelta `json:"evaporator_margin_k,omitempty"`
	// Hottest is the highest coolant temperature; nil reads as 60 °C (common
	// practice, no source).
	Hottest *chemistry.Celsius `json:"hottest_c,omitempty"`
	// Reach tells whether animals or children reach the loop; nil where nobody
	// asked.
	Reach *bool `json:"animals_or_children_reach,omitempty"`
}

// WettedPart is one material the liquid touches.
type WettedPart struct {
	Part    string          `json:"part"` // "cold plate", "radiator", …
	Metal   chemistry.Metal `json:"metal"`
	Plating chemistry.Metal `json:"plating,omitempty"`
}

// Tubing describes the tubes of a loop; zero where it is not known.
type Tubing struct {
	Material string  `json:"material,omitempty"`
	BoreMM   float64 `json:"bore_mm,omitempty"`
	OuterMM  float64 `json:"outer_mm,omitempty"`
	LengthMM float64 `json:"length_mm,omitempty"`
}

// Metals lists the metals that face the liquid: the plating where a part is
// plated, and the base metal beside it, since a scratch uncovers it.
func (c Construction) Metals() []chemistry.Metal {
	var metals []chemistry.Metal
	seen := map[chemistry.Metal]bool{"": true}
	for _, part := range c.Wetted {
		for _, m := range []chemistry.Metal{part.Plating, part.Metal} {
			if !seen[m] {
				seen[m] = true
				metals = append(metals, m)
			}
		}
	}
	return metals
}

// DefaultHottest is the highest coolant temperature taken where none is
// stated (common practice, no source).
const DefaultHottest chemistry.Celsius = 60

// HottestOrDefault returns the highest coolant temperature.
func (c Construction) HottestOrDefault() chemistry.Celsius {
	if c.Hottest != nil {
		return *c.Hottest
	}
	return DefaultHottest
}

// WithinReach tells that animals or children reach the loop, or that nobody
// asked: poison is kept from them until somebody says that they do not.
func (c Construction) WithinReach() bool { return c.Reach == nil || *c.Reach }

// FrostKnown tells whether it is known how cold the loop gets: its coldest wall,
// or that nothing in it can freeze.
func (c Construction) FrostKnown() bool {
	_, ok := c.Wall()
	return ok || c.NoFrost
}

// Wall returns the coldest wetted wall: for a chiller the set point less the
// maker's evaporator margin where that is colder. ok is false where it is not
// known, or where nothing can freeze.
func (c Construction) Wall() (wall chemistry.Celsius, ok bool) {
	if c.ColdestWall != nil {
		wall, ok = *c.ColdestWall, true
	}
	if c.SetPoint != nil && c.EvaporatorMargin != nil {
		evaporator := c.SetPoint.Add(-*c.EvaporatorMargin)
		if !ok || evaporator < wall {
			wall, ok = evaporator, true
		}
	}
	return wall, ok
}

// Validate returns all that is wrong with the fields people enter, joined. What
// is not known yet may be left out; the acts that need it ask.
func (l Loop) Validate() error {
	var p problems
	p.add(checkText("loop name", l.Name, 100, false))
	if l.Volume != 0 {
		p.add(inRange("volume", l.Volume, 0.005, 1000, "litres (5ml to 1000l)"))
	}
	p.add(inRange("volume uncertainty", l.VolumeUncertainty, 0, l.Volume, "litres, not more than the volume"))
	if len(l.Wetted) > 40 {
		p.add(invalid("wetted", len(l.Wetted), "at most 40 parts"))
	}
	for _, part := range l.Wetted {
		p.add(requireText("wetted part", part.Part, 60))
		p.add(oneOf("metal", part.Metal, chemistry.Metals()...))
		p.add(oneOf("plating", part.Plating, append(chemistry.Metals(), "")...))
	}
	p.add(checkMaterials(l.Materials))
	p.add(checkText("tubing", l.Tubing.Material, 60, false))
	p.add(inRange("bore", l.Tubing.BoreMM, 0, 200, "mm"))
	p.add(inRange("outer diameter", l.Tubing.OuterMM, 0, 300, "mm"))
	p.add(inRange("tube length", l.Tubing.LengthMM, 0, 1e6, "mm"))
	p.add(inRange("radiator size", l.RadiatorSizeMM, 0, 5000, "mm"))
	p.add(checkText("pump place", l.PumpPlace, 100, false))
	p.add(checkText("mounting", l.Mounting, 100, false))
	if l.ColdestWall != nil {
		p.add(inRange("coldest wall", *l.ColdestWall, -60, 60, "°C"))
	}
	if l.NoFrost && l.ColdestWall != nil {
		p.add(invalid("coldest wall", l.ColdestWall.String(), "none where nothing can freeze: say one or the other"))
	}
	p.add(l.BuiltKnown.validate("built"))
	if l.BuiltKnown.How == NotKnown && !l.Sealed {
		p.add(invalid("sealed", false, "yes where nobody looked yet: the stricter of the two is taken"))
	}
	p.add(l.VolumeKnown.validate("volume"))
	p.add(l.ColdestWallKnown.validate("coldest wall"))
	if l.Hottest != nil {
		p.add(inRange("hottest coolant", *l.Hottest, 0, 100, "°C"))
	}
	if l.SetPoint != nil {
		p.add(inRange("set point", *l.SetPoint, -60, 90, "°C"))
	}
	if l.EvaporatorMargin != nil {
		p.add(inRange("evaporator margin", *l.EvaporatorMargin, 0, 40, "K"))
	}
	return p.err()
}
