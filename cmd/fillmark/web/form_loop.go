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
		"strength": "mass", "filled to": "filled", "filled": "filled_from", "filled from": "filled_from", "day": "filled", "origin": "origin", "inhibitor family": "inhibitor", "biocide family": "biocide",
		"radiator size": "radiator_size", "outer diameter": "outer", "tube length": "tube_length",
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

// unknownFluid is chosen for what nobody knows.
const unknownFluid = "unknown"

// filledEntries is the fill of a loop that is registered with its charge; none
// where no fluid is chosen. Of what a factory or somebody unknown filled in,
// fluid, strength and day may be unknown.
func filledEntries(f *form) []loops.Entry {
	fluid := chemistry.Fluid(f.text("charge"))
	if fluid == "" {
		return nil
	}
	charge := loops.Charge{
		Fluid: fluid, Origin: cmp.Or(loops.Origin(f.text("origin")), loops.WorkshopFill), Inhibitor: loops.Additive{Family: f.text("inhibitor")}, Biocide: loops.Additive{Family: f.text("biocide")},
		Product: f.text("product"), Lot: f.text("lot"), Mass: mayRead(f, "mass", "%", chemistry.ParseMassPercent),
	}
	switch {
	case fluid == unknownFluid && charge.Origin == loops.WorkshopFill:
		f.blame("charge", "a fluid; only of what a factory or somebody unknown filled in it may be unknown")
	case fluid == unknownFluid:
		charge.Fluid = ""
	case !fluid.IsGlycol():
		charge.Mass = new(chemistry.MassFraction(0))
	}
	charge.MassUncertainty = orZero(mayRead(f, "mass_plus", "%", chemistry.ParseMassPercent))
	charge.Volume = orZero(mayRead(f, "poured", "ml", chemistry.ParseLitre))
	if charge.FilledTo = orZero(mayRead(f, "filled", "", loops.ParseDay)); charge.FilledTo.IsZero() {
		f.blame("filled", "the day it was filled, or the last on which it can have been")
	}
	charge.FilledFrom = orZero(mayRead(f, "filled_from", "", loops.ParseDay))
	if charge.Origin == loops.WorkshopFill {
		if f.text("filled_from") != "" {
			f.blame("filled_from", "nothing where the workshop filled it: the day is known")
		}
		charge.FilledFrom = charge.FilledTo
	}
	return []loops.Entry{{Kind: loops.KindFill, Day: charge.FilledTo, Fill: &loops.Fill{Charge: charge}}}
}

// arrivalEntries is what is entered when a loop comes in of whose charge nothing
// is on record. A workshop's fill comes after what was seen, any other was in
// it before.
func arrivalEntries(f *form, always bool) []loops.Entry {
	seen, filled := seenEntries(f, always), filledEntries(f)
	if len(filled) > 0 && filled[0].Fill.Charge.Origin != loops.WorkshopFill {
		return append(filled, seen...)
	}
	return append(seen, filled...)
}
