// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"strings"

	"fillmark/chemistry"
)

// Words says how a loop is built, one phrase for each thing that is on
// record: what makes it known again years later.
func (c Construction) Words() []string {
	holds := "holds " + c.Volume.String()
	if c.VolumeUncertainty > 0 {
		holds += " ± " + c.VolumeUncertainty.String()
	}
	holds += c.VolumeKnown.Mark()
	if c.Volume == 0 {
		holds = "what it holds is not known"
	}
	build := map[bool]string{true: "sealed", false: "open"}[c.Sealed] + c.BuiltKnown.Mark()
	if c.BuiltKnown.How == NotKnown {
		build = "sealed or open is not known"
	}
	words := []string{build, holds}
	for _, w := range c.Wetted {
		part := w.Part + " " + string(w.Metal)
		if w.Plating != "" {
			part += " plated with " + string(w.Plating)
		}
		words = append(words, part)
	}
	add := func(prefix, text string) {
		if text != "" {
			words = append(words, prefix+text)
		}
	}
	for _, m := range c.Materials {
		if m == chemistry.NoMaterial {
			words = append(words, "no seals or plastics")
			continue
		}
		words = append(words, m.Family().Name())
	}
	add("radiator size ", millimetres(c.RadiatorSizeMM))
	add("tubing ", tubingWords(c.Tubing))
	add("pump ", c.PumpPlace)
	add("mounted: ", c.Mounting)
	switch {
	case c.NoFrost:
		words = append(words, "nothing in it can freeze")
	case c.ColdestWall != nil:
		add("coldest wall ", c.ColdestWall.String()+c.ColdestWallKnown.Mark())
	default:
		words = append(words, "coldest wall not known")
	}
	if c.SetPoint != nil {
		add("set point ", c.SetPoint.String())
	}
	if c.EvaporatorMargin != nil {
		add("evaporator margin ", c.EvaporatorMargin.String())
	}
	if c.Hottest != nil {
		add("coolant up to ", c.Hottest.String())
	}
	if c.Reach != nil && *c.Reach {
		words = append(words, "animals or children reach it")
	}
	return words
}

func tubingWords(t Tubing) string {
	var words []string
	for _, w := range []struct{ before, text, after string }{
		{"", t.Material, ""}, {"bore ", millimetres(t.BoreMM), ""}, {"outside ", millimetres(t.OuterMM), ""}, {"", millimetres(t.LengthMM), " long"},
	} {
		if w.text != "" {
			words = append(words, w.before+w.text+w.after)
		}
	}
	return strings.Join(words, ", ")
}

func millimetres(v float64) string {
	if v == 0 {
		return ""
	}
	return fmt.Sprintf("%g mm", v)
}

// AsIn is the construction of another unit of the same model, taken for one that
// nobody has looked at: what the maker decides, each part marked as assumed from
// the unit with the tag. Where it stands decides the rest, which is left unsaid:
// how cold it gets, its set point, who reaches it.
func (c Construction) AsIn(tag Tag) Construction {
	assumed := Known{How: Assumed, By: "as in " + string(tag) + ", the last unit of its model"}
	c.BuiltKnown = assumed
	if c.VolumeKnown = (Known{}); c.Volume != 0 {
		c.VolumeKnown = assumed
	}
	c.ColdestWall, c.ColdestWallKnown, c.NoFrost, c.SetPoint, c.Hottest, c.Reach = nil, Known{}, false, nil, nil, nil
	return c
}

// NotKnownYet lists what nobody knows of a loop, each with the step that settles
// it: the one at which it can be seen, measured or asked first.
func (l Loop) NotKnownYet() []string {
	var all []string
	ask := func(open bool, text string) {
		if open {
			all = append(all, text)
		}
	}
	ask(l.BuiltKnown.How == NotKnown, "Sealed or open, and what its parts are made of: look at it")
	ask(l.BuiltKnown.How == Assumed, "Sealed or open, and what its parts are made of, are assumed: look at it")
	ask(l.BuiltKnown.How != NotKnown && len(l.Wetted) == 0, "What its parts are made of: look at it, or ask its maker")
	ask(l.Volume == 0, "What it holds: weigh what comes out, or what goes in")
	ask(l.State.Charge == nil && l.State.Empty.IsZero(), "What is in it: read a drop, or drain it")
	ask(l.State.Charge != nil && l.State.Charge.Fluid.IsGlycol() && l.State.Charge.Mass == nil, "Its strength: read a drop")
	ask(!l.FrostKnown(), "How cold its coldest wall gets: ask where it runs, stands and travels")
	ask(l.Reach == nil, "Whether animals or children reach it: ask the owner")
	return all
}
