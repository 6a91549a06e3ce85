// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// pour is a kind of value: what was poured and how much of it.
func pour() kind[loops.Pour] {
	return kind[loops.Pour]{word: "[LIQUID=]VOLUME", unit: "ml", typ: Text, parse: parsePour, print: printPour, show: showPour}
}

// parsePour reads 480ml, water=40ml, pg:95%=10ml, or 3=40ml from container 3.
func parsePour(text string) (loops.Pour, error) {
	name, amount, named := strings.Cut(text, "=")
	if !named {
		name, amount = "", text
	}
	volume, err := chemistry.ParseLitre(amount)
	p := loops.Pour{Volume: volume}
	switch {
	case err != nil, !named:
		return p, err
	case volume == 0:
		return p, wrong("", text, "how much of it, such as 40ml")
	}
	if id, err := loops.ParseContainer(strings.TrimSpace(name)); err == nil {
		p.Container = id
		return p, nil
	}
	word := strings.ToLower(strings.TrimSpace(name))
	if strings.HasPrefix(word, chemistry.PartConcentrate) || strings.HasPrefix(word, chemistry.PartPremix) {
		return p, wrong("", text, "the glycol by name: eg:95%=10ml or pg:95%=10ml")
	}
	liquid, err := chemistry.ParseLiquid(name, chemistry.TreatedWater)
	if err == nil && liquid.Available > 0 {
		err = wrong("", text, "the volume once, behind the =")
	}
	p.Liquid, p.Fluid, p.Mass = name, liquid.Fluid, liquid.Mass
	if further, e := chemistry.ParseAnyFluid(name); err != nil && e == nil {
		p.Fluid, err = further, nil // what somebody poured is recorded, whatever it was
	}
	return p, err
}

func printPour(p loops.Pour) string {
	amount := volume().print(p.Volume)
	switch {
	case p.Container != 0:
		return fmt.Sprintf("%d=%s", p.Container, amount)
	case p.Liquid == "":
		return amount
	}
	return p.Liquid + "=" + amount
}

func showPour(p loops.Pour) string {
	words := p.Volume.String()
	if p.Liquid != "" {
		words += " of " + p.Liquid
		if p.Fluid.IsGlycol() && !strings.Contains(p.Liquid, "%") {
			words += " (" + p.Mass.String() + " " + p.Fluid.Name() + ")"
		}
	}
	if p.Container != 0 {
		words += fmt.Sprintf(" from container %d", p.Container)
	}
	return words
}

// fromShelf completes pours by what the containers' records say is in them.
func (s Snapshot) fromShelf(pours []loops.Pour) ([]loops.Pour, error) {
	out := make([]loops.Pour, 0, len(pours))
	for _, p := range pours {
		if p.Container != 0 && p.Liquid == "" {
			c, ok := s.container(p.Container)
			switch {
			case !ok:
				return nil, fmt.Errorf("container %d: %w", p.Container, loops.ErrNotFound)
			case c.Fluid == "":
				return nil, wrong("poured", printPour(p), "a container with a coolant or water; an additive is recorded as a dose")
			}
			mass, off := c.Strength()
			if mass == nil && c.Fluid.IsGlycol() {
				return nil, wrong("poured", printPour(p), "a container whose strength or label is on record; measure it and write it into the container's record")
			}
			p.Liquid, p.Fluid = c.Product, c.Fluid
			if mass != nil {
				p.Mass, p.MassUncertainty = *mass, off
			}
		}
		out = append(out, p)
	}
	return out, nil
}

// liquids are completed pours as chemistry judges them: a bottle of which only
// the label is on record goes by its own curve.
func (s Snapshot) liquids(poured []loops.Pour) []chemistry.Pour {
	var out []chemistry.Pour
	for _, p := range poured {
		liquid, err := chemistry.ParseLiquid(p.Liquid, p.Fluid)
		if err != nil { // a container's product is no liquid's name
			liquid = chemistry.Liquid{Name: p.Liquid}
		}
		liquid.Fluid, liquid.Mass, liquid.MassUncertainty = p.Fluid, p.Mass, p.MassUncertainty
		if box, ok := s.container(p.Container); ok && box.Mass == nil {
			liquid.Product = box.ByLabel()
		}
		out = append(out, chemistry.Pour{Liquid: liquid, Volume: p.Volume})
	}
	return out
}

func drawnFrom(pours []loops.Pour) []loops.ContainerID {
	var ids []loops.ContainerID
	for _, p := range pours {
		if p.Container != 0 {
			ids = append(ids, p.Container)
		}
	}
	return ids
}

// labelsOff is how far the strength of a mix may be off by what the labels of
// its parts may, by volume (k = 2).
func labelsOff(pours []loops.Pour) chemistry.MassFraction {
	off := chemistry.MassFraction(0)
	for _, p := range pours {
		off += p.MassUncertainty * chemistry.MassFraction(p.Volume/sum(pours))
	}
	return off
}

// together is the room that completed pours take in an empty loop: mixed, where
// all of them are named, less than their sum.
func (s Snapshot) together(poured []loops.Pour) chemistry.Litre {
	if len(poured) < 2 {
		return sum(poured)
	}
	for _, p := range poured {
		if p.Liquid == "" {
			return sum(poured)
		}
	}
	b, err := chemistry.Blend(s.liquids(poured))
	if err != nil {
		return sum(poured)
	}
	return b.Volume
}

func sum(pours []loops.Pour) chemistry.Litre {
	var total chemistry.Litre
	for _, p := range pours {
		total += p.Volume
	}
	return total
}
