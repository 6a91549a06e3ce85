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
		"strength": "mass", "filled to": "filled", "filled": "filled_since", "filled from": "filled_since", "day": "filled", "fluid": "charge", "inhibitor family": "inhibitor", "biocide family": "biocide",
		"complaint": "complaint", "symptom": "symptom", "promised back": "promised", "photo": "photo",
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
	return []struct{ field, name string }{{"plate", "cold plate"}, {"radiator", "radiator"}, {"fittings", "fittings"}}
}

// intakeLoop reads the fields of a loop over what is on record of it: parts
// and figures that the form does not ask about stay.
func intakeLoop(f *form, l loops.Loop) loops.Loop {
	l.Name, l.Sealed, l.Reach = f.text("loop_name"), f.text("build") == "sealed", f.ticked("reach")
	if f.text("build") == "" {
		f.blame("build", "sealed or open")
	}
	l.Volume = read(f, "holds", "ml", chemistry.ParseLitre)
	l.VolumeUncertainty = orZero(mayRead(f, "holds_plus", "ml", chemistry.ParseLitre))
	l.ColdestWall, l.Hottest = mayRead(f, "wall", "C", chemistry.ParseCelsius), mayRead(f, "hottest", "C", chemistry.ParseCelsius)
	l.SetPoint, l.EvaporatorMargin = mayRead(f, "set_point", "C", chemistry.ParseCelsius), mayRead(f, "evaporator_margin", "K", chemistry.ParseCelsiusDelta)
	l.PumpPlace, l.Mounting, l.Tubing.Material = f.text("pump_place"), f.text("mounting"), f.text("tubing")
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

// seenEntries are the intake and the readings taken with it. For a loop that
// is on record the intake is always one, since it begins a visit.
func seenEntries(f *form, always bool) []loops.Entry {
	var entries []loops.Entry
	hours := mayRead(f, "hours", "", number)
	if always || f.text("complaint")+f.text("symptom") != "" || hours != nil || len(f.Kept()) > 0 {
		entries = append(entries, loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{
			Complaint: f.text("complaint"), Symptom: f.text("symptom"), RunningHours: hours, Photos: f.Kept(),
		}})
	}
	x := readingsOf(f, "seen_")
	if x.Die != nil || x.Room != nil || x.PowerW != nil || x.Weight != nil || x.Noise != "" {
		entries = append(entries, loops.Entry{Kind: loops.KindInspection, Inspection: &x})
	}
	return entries
}

// readingsOf reads the fields of an inspection, whose names begin alike.
func readingsOf(f *form, prefix string) loops.Inspection {
	celsius := func(name string) *chemistry.Celsius { return mayRead(f, prefix+name, "C", chemistry.ParseCelsius) }
	plain := func(name string) *float64 { return mayRead(f, prefix+name, "", number) }
	x := loops.Inspection{
		Die: celsius("die"), Room: celsius("room_air"), CoolantIn: celsius("coolant_in"), CoolantOut: celsius("coolant_out"),
		PowerW: plain("power"), PumpW: plain("pump"), PH: plain("ph"), RunningHours: plain("running_hours"),
		Weight: mayRead(f, prefix+"weight", "kg", chemistry.ParseKilogram), Missing: mayRead(f, prefix+"missing", "ml", chemistry.ParseLitre),
		Mass:  mayRead(f, prefix+"mass", "%", chemistry.ParseMassPercent),
		Noise: f.text(prefix + "noise"), Steady: f.ticked(prefix + "steady"), Verdict: loops.Judgement(f.text(prefix + "verdict")),
	}
	if plus := mayRead(f, prefix+"mass_plus", "%", chemistry.ParseMassPercent); plus != nil {
		x.MassUncertainty = *plus
	}
	if x.Verdict == "" {
		x.Verdict = loops.NotJudged
	}
	return x
}

// filledEntries is the fill of a loop that is registered with its charge; none
// where no fluid is chosen.
func filledEntries(f *form) []loops.Entry {
	fluid := chemistry.Fluid(f.text("charge"))
	if fluid == "" {
		return nil
	}
	charge := loops.Charge{
		Fluid: fluid, Origin: cmp.Or(loops.Origin(f.text("origin")), loops.WorkshopFill), Inhibitor: loops.Additive{Family: f.text("inhibitor")}, Biocide: loops.Additive{Family: f.text("biocide")},
		Product: f.text("product"), Lot: f.text("lot"), Mass: mayRead(f, "mass", "%", chemistry.ParseMassPercent),
	}
	if fluid == unknownFluid {
		charge.Fluid = ""
	} else if !fluid.IsGlycol() {
		charge.Mass = new(chemistry.MassFraction(0))
	}
	if plus := mayRead(f, "mass_plus", "%", chemistry.ParseMassPercent); plus != nil {
		charge.MassUncertainty = *plus
	}
	if volume := mayRead(f, "poured", "ml", chemistry.ParseLitre); volume != nil {
		charge.Volume = *volume
	}
	e := loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{}}
	if day := mayRead(f, "filled", "", loops.ParseDay); day != nil {
		e.Day = *day
	} else {
		f.blame("filled", "the day it was filled")
	}
	charge.FilledFrom, charge.FilledTo = e.Day, e.Day
	if charge.Origin != loops.WorkshopFill {
		charge.FilledFrom = orZero(mayRead(f, "filled_since", "", loops.ParseDay))
	} else if f.text("filled_since") != "" {
		f.blame("filled_since", "nothing where the workshop filled it: the day is known")
	}
	e.Fill.Charge = charge
	return []loops.Entry{e}
}

// unknownFluid stands in a form for a fluid that nobody knows.
const unknownFluid = "unknown"

// originChoices are those who can have filled a loop.
func originChoices() []choice {
	return []choice{
		{Value: string(loops.WorkshopFill), Label: "the workshop"}, {Value: string(loops.Factory), Label: "the factory"}, {Value: string(loops.UnknownOrigin), Label: "nobody knows"},
	}
}
