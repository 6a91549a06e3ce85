// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"net/url"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// enterRefill records what one form of the refill page says.
func (s *server) enterRefill(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	do := f.text("do")
	entries := refillEntries(f, do, file)
	if f.OK() && len(entries) > 0 {
		err := s.record(r, file.Loop.Tag, entries...)
		if err == nil {
			s.Wake()
			http.Redirect(w, r, afterRefill(file.Loop.Tag, do, f), http.StatusSeeOther)
			return nil
		}
		if err := f.take(err, refillFields()); err != nil {
			return err
		}
	}
	if file, err = s.Workshop.File(file.Loop.Tag); err != nil {
		return err
	}
	if query, err := url.ParseQuery(f.text("q")); err == nil {
		for name := range query {
			f.offer(name, query.Get(name))
		}
	}
	p, err := s.refillPage(r, file, f)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusUnprocessableEntity, "refill", p)
}

// afterRefill is where the page goes on: at the form that was sent, with the
// mix as it was asked for, or at the sheet for the owner after a hand-over.
func afterRefill(tag loops.Tag, do string, f *form) string {
	if do == "handover" {
		return "/loops/" + string(tag) + "/handover"
	}
	place := url.URL{Path: "/loops/" + string(tag) + "/refill", Fragment: f.text("at")}
	if query, err := url.ParseQuery(f.text("q")); err == nil {
		place.RawQuery = query.Encode()
	}
	return place.String()
}

func refillFields() map[string]string {
	return map[string]string{
		"left": "drain_left", "out": "drain_out", "disposal": "drain_disposal", "hazard": "drain_hazard",
		"volume": "fill_volume", "strength": "fill_mass", "fluid": "fill_fluid", "filled to": "filled", "day": "filled",
		"container": "fill_container", "hours": "leak_hours", "product": "fill_product", "lot": "fill_lot", "fluid life": "fill_life",
		"inhibitor dose": "fill_inhibitor_dose", "biocide dose": "fill_biocide_dose", "verdict": "after_verdict",
		"inhibitor family": "fill_inhibitor", "biocide family": "fill_biocide",
	}
}

// refillEntries reads the form that was sent. Where it holds nothing to
// record a field is marked.
func refillEntries(f *form, do string, file workshop.File) []loops.Entry {
	switch do {
	case "steps":
		return stepEntries(f, file.Loop.Sealed)
	case "leave":
		return []loops.Entry{{Kind: loops.KindStep, Note: f.text("leave_note"), Step: &loops.StepDone{Step: loops.StepID(f.text("leave_step")), LeftOut: true}}}
	case "drain":
		return []loops.Entry{{Kind: loops.KindDrain, Drain: &loops.Drain{
			Left: read(f, "drain_left", "ml", chemistry.ParseLitre), Out: orZero(mayRead(f, "drain_out", "ml", chemistry.ParseLitre)),
			Hazard: f.text("drain_hazard"), Disposal: f.text("drain_disposal"),
		}}}
	case "fill":
		return []loops.Entry{fillEntry(f)}
	case "leak":
		found := f.text("leak_dry")
		if found != "dry" && found != "wet" {
			f.blame("leak_dry", "dry or wet")
		}
		return []loops.Entry{{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: read(f, "leak_hours", "", number), Dry: found == "dry"}}}
	case "proof":
		return []loops.Entry{proofEntry(f, file)}
	case "handover":
		return []loops.Entry{{Kind: loops.KindHandover, Handover: &loops.Handover{Consent: loops.Consent{
			Mail: f.ticked("mail"), Opening: f.ticked("opening"), Photos: f.ticked("photos"),
		}}}}
	}
	f.Rest = append(f.Rest, Problem{Field: "form", Value: do, Right: "a form of this page"})
	return nil
}

func orZero[T any](v *T) (zero T) {
	if v == nil {
		return zero
	}
	return *v
}

// stepEntries are the steps that are ticked, with their figures.
func stepEntries(f *form, sealed bool) []loops.Entry {
	var entries []loops.Entry
	for _, step := range loops.StepsFor(sealed) {
		if !f.ticked("step_" + string(step.ID)) {
			continue
		}
		done := &loops.StepDone{Step: step.ID}
		if step.Unit != "" {
			done.Value = mayRead(f, "figure_"+string(step.ID), "", number)
		}
		entries = append(entries, loops.Entry{Kind: loops.KindStep, Step: done})
	}
	if len(entries) == 0 {
		f.Rest = append(f.Rest, Problem{Field: "steps", Right: "tick what is done"})
	}
	return entries
}

// fillEntry reads the fill as it was poured.
func fillEntry(f *form) loops.Entry {
	fluid := chemistry.Fluid(f.text("fill_fluid"))
	charge := loops.Charge{
		Fluid: fluid, Origin: loops.WorkshopFill, Volume: read(f, "fill_volume", "ml", chemistry.ParseLitre),
		Mass: mayRead(f, "fill_mass", "%", chemistry.ParseMassPercent), MassUncertainty: orZero(mayRead(f, "fill_mass_plus", "%", chemistry.ParseMassPercent)),
		Inhibitor: additiveOf(f, "inhibitor"), Biocide: additiveOf(f, "biocide"),
		Product: f.text("fill_product"), Lot: f.text("fill_lot"), FluidLifeMonths: months(f, "fill_life"),
	}
	if !fluid.IsGlycol() {
		charge.Mass = new(chemistry.MassFraction(0))
	}
	e := loops.Entry{Kind: loops.KindFill, Day: read(f, "filled", "", loops.ParseDay), Fill: &loops.Fill{}}
	charge.FilledFrom, charge.FilledTo = e.Day, e.Day
	e.Fill.Charge = charge
	if container := mayRead(f, "fill_container", "", loops.ParseContainer); container != nil {
		e.Fill.Poured = []loops.Pour{{Container: *container, Volume: charge.Volume}}
	}
	return e
}

func additiveOf(f *form, name string) loops.Additive {
	return loops.Additive{
		Family: f.text("fill_" + name), DoseMLPerL: orZero(mayRead(f, "fill_"+name+"_dose", "", number)), LifeMonths: months(f, "fill_"+name+"_life"),
	}
}

func months(f *form, name string) int { return int(orZero(mayRead(f, name, "", number))) }

// proofEntry compares the readings after the work with those before it.
func proofEntry(f *form, file workshop.File) loops.Entry {
	proof := &loops.Proof{After: readingsOf(f, "after_")}
	if before := readingsBefore(stayOf(file.History)); before != nil {
		proof.Before = *before
	} else {
		proof.Before = readingsOf(f, "before_")
		proof.Before.Verdict = loops.NotJudged
	}
	if !proof.After.Comparable() {
		for _, name := range []string{"after_die", "after_room_air", "after_power"} {
			if f.text(name) == "" {
				f.blame(name, "a figure: without die, room and heat nothing can be compared")
			}
		}
	}
	return loops.Entry{Kind: loops.KindProof, Proof: proof}
}
