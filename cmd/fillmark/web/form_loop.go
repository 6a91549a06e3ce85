// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// intakeFields maps the record's names to the form's where they differ.
func intakeFields() map[string]string {
	return map[string]string{
		"name": "machine", "kind": "machine_kind", "metal": "plate", "volume": "holds", "volume uncertainty": "holds_plus",
		"set point": "set_point", "evaporator margin": "evaporator_margin", "coldest wall": "wall", "hottest coolant": "hottest",
		"radiator size": "radiator_size", "outer diameter": "outer", "tube length": "tube_length",
		"promised back": "promised", "photo": "photo",
	}
}

func sameName(a, b string) bool {
	return strings.EqualFold(strings.Join(strings.Fields(a), " "), strings.Join(strings.Fields(b), " "))
}

// number reads a bare figure.
func number(text string) (float64, error) { return strconv.ParseFloat(text, 64) }

// intakeMachine reads the fields of a machine over what is on record of it.
func intakeMachine(f *form, m loops.Machine) loops.Machine {
	m.Kind, m.Name, m.Maker, m.Model = loops.MachineKind(f.text("machine_kind")), f.text("machine"), f.text("maker"), f.text("model")
	m.WarrantyAsked, m.WarrantyNote = f.ticked("warranty_asked"), f.text("warranty_note")
	m.Accessories = nil
	for line := range strings.Lines(f.text("accessories")) {
		if line = strings.TrimSpace(line); line != "" {
			m.Accessories = append(m.Accessories, line)
		}
	}
	m.PromisedBack = orZero(mayRead(f, "promised", "", loops.ParseDay))
	return m
}

// formParts are the wetted parts that a form asks about, by field.
func formParts() []struct{ field, name string } {
	return []struct{ field, name string }{{"plate", "cold plate"}, {"radiator", "radiator"}, {"fittings", "fittings"}, {"pump", "pump"}}
}

// lengths are a loop's figures in millimetres, by field.
func lengths(l *loops.Loop) map[string]*float64 {
	return map[string]*float64{
		"radiator_size": &l.RadiatorSizeMM, "bore": &l.Tubing.BoreMM, "outer": &l.Tubing.OuterMM, "tube_length": &l.Tubing.LengthMM,
	}
}

// intakeLoop reads the fields of a loop over what is on record of it: parts
// and figures that the form does not ask about stay.
func intakeLoop(f *form, l loops.Loop) loops.Loop {
	l.Name, l.Sealed, l.NoFrost = f.text("loop_name"), f.text("build") == "sealed", f.ticked("no_frost")
	l.Reach = mayRead(f, "reach", "", yesOrNo)
	if f.text("build") == "" {
		f.blame("build", "sealed or open")
	}
	l.Volume = read(f, "holds", "ml", chemistry.ParseLitre)
	l.VolumeUncertainty = orZero(mayRead(f, "holds_plus", "ml", chemistry.ParseLitre))
	l.ColdestWall, l.Hottest = mayRead(f, "wall", "C", chemistry.ParseCelsius), mayRead(f, "hottest", "C", chemistry.ParseCelsius)
	l.SetPoint, l.EvaporatorMargin = mayRead(f, "set_point", "C", chemistry.ParseCelsius), mayRead(f, "evaporator_margin", "K", chemistry.ParseCelsiusDelta)
	l.PumpPlace, l.Mounting, l.Tubing.Material = f.text("pump_place"), f.text("mounting"), f.text("tubing")
	for name, at := range lengths(&l) {
		if f.typed.Has(name) {
			*at = orZero(mayRead(f, name, "", number))
		}
	}
	l.Wetted = slices.Clone(l.Wetted)
	for _, part := range formParts() {
		is := loops.WettedPart{Part: part.name, Metal: chemistry.Metal(f.text(part.field)), Plating: chemistry.Metal(f.text(part.field + "_plating"))}
		at := slices.IndexFunc(l.Wetted, func(p loops.WettedPart) bool { return p.Part == part.name })
		switch {
		case is.Metal == "" && at >= 0:
			l.Wetted = slices.Delete(l.Wetted, at, at+1)
		case is.Metal == "":
		case at >= 0:
			is.Plating = cmp.Or(is.Plating, platingLeft(f, part.field, l.Wetted[at]))
			l.Wetted[at] = is
		default:
			l.Wetted = append(l.Wetted, is)
		}
	}
	return l
}

// platingLeft is a part's plating where the form does not ask about it.
func platingLeft(f *form, field string, was loops.WettedPart) chemistry.Metal {
	if f.typed.Has(field + "_plating") {
		return ""
	}
	return was.Plating
}
