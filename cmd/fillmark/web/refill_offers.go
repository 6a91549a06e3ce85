// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/url"

	"fillmark/chemistry"
	"fillmark/loops"
)

// fillOffers put into the form of the fill what was worked out for the mix; its
// strength is calculated until somebody reads it.
func fillOffers(f *form, mix mixAnswer) url.Values {
	offers := url.Values{"poured": {quantityIn(mix.Total.Millilitres())}}
	for name, asked := range map[string]string{
		"fluid": "fluid", "inhibitor": "inhibitor", "biocide": "biocide", "inhibitor-dose": "inhibitor_dose", "biocide-dose": "biocide_dose",
	} {
		offers.Set(name, f.text(asked))
	}
	bottle := f.text("bottle")
	if mix.Result != nil && bottle == "" { // of a bottle the strength follows from what was poured
		offers.Set("mass", quantityIn(mix.Result.MassPercent))
		offers.Set("mass-known", string(loops.Calculated))
	}
	if bottle != "" {
		offers.Set("poured-of", bottle)
		for _, part := range mix.Parts {
			name := "poured"
			if part.Name == chemistry.PartDilutionWater {
				name = "poured:water"
			}
			offers.Set(name, quantityIn(part.Volume.Millilitres()))
		}
	}
	return offers
}

// consentOffers say again what the owner agreed to before.
func consentOffers(c loops.Consent) url.Values {
	offers := url.Values{}
	for name, agreed := range map[string]bool{"mail-consent": c.Mail, "opening-consent": c.Opening, "photo-consent": c.Photos} {
		if agreed {
			offers.Set(name, "yes")
		}
	}
	return offers
}

// flows are the figures of steps that an act asks for too, each until that act
// is on record: nobody types one twice.
var flows = map[loops.StepID]struct {
	kind       loops.EntryKind
	act, field string
}{
	loops.StepDrain:    {loops.KindDrain, "drain", "out"},
	loops.StepStrength: {loops.KindFill, "fill", "mass"},
	loops.StepLeakRun:  {loops.KindLeakCheck, "leakcheck", "hours"},
}

// offerFigures puts the figures that steps of this visit have on record into the
// forms of acts that follow. A strength that was read is a measured one.
func offerFigures(offers map[string]url.Values, visit []loops.Entry) {
	read := map[loops.StepID]float64{}
	for _, e := range visit {
		if e.Step != nil && e.Step.Value != nil {
			read[e.Step.Step] = *e.Step.Value
		}
		for step, flow := range flows {
			if e.Kind == flow.kind {
				delete(read, step)
			}
		}
	}
	for step, flow := range flows {
		value, ok := read[step]
		if !ok {
			continue
		}
		if offers[flow.act] == nil {
			offers[flow.act] = url.Values{}
		}
		offers[flow.act].Set(flow.field, quantityIn(value))
		if step == loops.StepStrength {
			offers[flow.act].Set("mass-known", string(loops.Measured))
		}
	}
}
