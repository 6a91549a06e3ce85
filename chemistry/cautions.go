// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"slices"
	"strings"

	"fillmark/chemistry/tables"
)

// Contents is what is in a loop or a bottle, as far as it is known.
type Contents struct {
	Fluid     Fluid         // "": unknown
	Mass      *MassFraction // nil: unknown
	Inhibitor Inhibitor
	Biocide   Biocide
	// Additives are all that was added beyond the first inhibitor and biocide, each for itself: nothing wins silently.
	Additives []Additive
}

// Additive is one inhibitor or biocide product in a liquid.
type Additive struct {
	Family  Family // of [KindInhibitor] or [KindBiocide]
	Product string // as its label says
	Dose    *DoseLevel
}

// families returns the families of the further additives.
func (c Contents) families() []Family {
	var out []Family
	for _, a := range c.Additives {
		out = append(out, a.Family)
	}
	return out
}

// Caution is what one substance, or one task, can do to people and animals, and how to handle it.
type Caution struct {
	Substance string   `json:"substance"`
	Signal    string   `json:"signal,omitempty"` // signal word after CLP/GHS: "Warning", "Danger" or "" for none
	H         []string `json:"h,omitempty"`      // hazard statements with their code: "H302 Harmful if swallowed."
	P         []string `json:"p,omitempty"`      // precautionary statements with their code
	Text      string   `json:"text"`             // for the technician
	OwnerText string   `json:"-"`                // for the owner; empty when the owner never meets it
	Source    string   `json:"source"`
	Grade     Grade    `json:"grade"`
	// Lines are the block of lines that stands for the text; empty for all but the unknown liquid's.
	Lines []string `json:"lines,omitempty"`
}

// Deferral ends every caution. Where several stand together it can be said once, after the last.
const Deferral = "The safety data sheet of the product and local rules decide."

// Cautions returns the handling cautions for a liquid: its base fluid first, then additives that are known to be in it. There is
// always at least one, and every text defers to the safety data sheet and local rules. The statements of a mixture follow
// from what is in it and at what strength; those of additives are of the additive as supplied.
func Cautions(c Contents) []Caution {
	out := []Caution{baseCaution(c)}
	for _, f := range append([]Family{{KindInhibitor, string(c.Inhibitor)}, {KindBiocide, string(c.Biocide)}}, c.families()...) {
		a, ok := inhibitorCaution(Inhibitor(f.ID))
		if f.Kind == KindBiocide {
			a, ok = biocideCaution(Biocide(f.ID))
		}
		if ok {
			out = append(out, a)
		}
	}
	if slices.Contains(c.families(), Family{KindBiocide, ""}) {
		a := biocideWords(Caution{Substance: "biocide of a family not known", Source: "common practice, no source", Grade: Practice})
		a.Text = "Which statements hold is not known: take it as the worst. " + a.Text
		out = append(out, a)
	}
	return out
}

func baseCaution(c Contents) Caution {
	switch c.Fluid {
	case EthyleneGlycol:
		return ethyleneCaution(c.Mass)
	case PropyleneGlycol:
		return propyleneCaution()
	case TreatedWater:
		return treatedWaterCaution()
	case DeionisedWater:
		return deionisedCaution()
	}
	if l := c.Fluid.other(); l != nil {
		return otherCaution(l)
	}
	return Caution{
		Substance: unknownSubstance, Lines: append(UnknownLiquid(), Deferral),
		Text:      strings.ToUpper(unknownLiquid[0][:1]) + unknownLiquid[0][1:] + "; " + strings.Join(unknownLiquid[1:], "; ") + ". " + Deferral,
		OwnerText: strings.Join(unknownForOwner[:], " ") + " " + Deferral,
		Source:    "common practice, no source", Grade: Practice,
	}
}

// substance returns a caution with the statements of hazards.csv and their texts.
func substance(name string) Caution {
	h := tables.All().Hazards[name]
	return Caution{Substance: name, Signal: h.Signal, H: withTexts(h.H), P: withTexts(h.P), Source: h.Source, Grade: Grade(h.Grade)}
}

func withTexts(codes []string) []string {
	var out []string
	for _, c := range codes {
		out = append(out, c+" "+tables.All().Statements[c])
	}
	return out
}

// Limits of the CLP mixture rules for ethylene glycol (from memory): an acute toxicity estimate of 500 mg/kg gives H302 up to
// 2000 mg/kg in the mixture, that is from 25 mass %; H373 from 10 mass %.
const (
	harmfulFrom MassFraction = 0.25
	organsFrom  MassFraction = 0.10
)

func ethyleneCaution(x *MassFraction) Caution {
	c := substance("ethylene glycol")
	if x != nil {
		if *x < harmfulFrom {
			c.H = slices.DeleteFunc(c.H, func(s string) bool { return s[:4] == "H302" })
		}
		if *x < organsFrom {
			c.H, c.Signal = nil, ""
		}
		c.Source += "; at this strength after the CLP mixture rules (from memory)"
	}
	c.Text = "Poisonous if swallowed, at any strength; it tastes sweet, and small amounts kill cats and dogs. Gloves and eye protection; wipe up every drop; closed, labelled containers out of reach of children and animals. " +
		"Swallowed: call the poison centre at once, do not wait for symptoms, rinse the mouth, do not induce vomiting. Never into a drain or on the ground. " + Deferral
	c.OwnerText = "The coolant is poisonous if swallowed and tastes sweet. Keep children and animals away from any drip, wipe it up and wash your hands. " +
		"If anyone or any animal swallowed some, call the poison centre or the vet at once, even without symptoms; do not make them vomit. " + Deferral
	return c
}

func propyleneCaution() Caution {
	c := substance("propylene glycol")
	c.Text = "Not classified as hazardous when pure; inhibitors, biocide and dissolved metal may be. Gloves and eye protection; spills are slippery; do not drink. " +
		"Swallowed: rinse the mouth, ask the poison centre. Used coolant never into a drain without the consent of the local authority. " + Deferral
	c.OwnerText = "The coolant is of low hazard, but it is not for drinking: it holds additives and dissolved metal. Wipe up drips, wash your hands, keep children and animals away. " +
		"If swallowed, ask the poison centre. " + Deferral
	return c
}

func treatedWaterCaution() Caution {
	return Caution{
		Substance: "water with additives",
		Text: "Inhibitor and biocide may irritate or sensitise the skin. Gloves and eye protection; do not drink; keep from frost: it freezes at 0 °C and bursts what holds it. " +
			"Never store or ship it near freezing. " + Deferral,
		OwnerText: "The liquid is water with additives: not for drinking. Wipe up drips and wash your hands. It freezes at 0 °C: never leave or ship the machine in the cold. " + Deferral,
		Source:    "common practice, no source; frost: physics of water",
		Grade:     Practice,
	}
}

func deionisedCaution() Caution {
	return Caution{
		Substance: "deionised water",
		Text: "Harmless by itself, but it takes up metal and breeds microbes in the loop. It freezes at 0 °C and bursts what holds it: never store or ship it near freezing. " +
			"Add nothing: any additive conducts. " + Deferral,
		OwnerText: "The liquid is pure water, but not for drinking once it has been in a loop. It freezes at 0 °C: never leave or ship the machine in the cold. Add nothing. " + Deferral,
		Source:    "common practice, no source; frost: physics of water",
		Grade:     Practice,
	}
}

// inhibitorCaution returns the caution for an inhibitor family of one known substance. Formulated families have none of their own:
// their data sheet is the product's.
func inhibitorCaution(i Inhibitor) (Caution, bool) {
	names := map[Inhibitor]string{Azole: "benzotriazole", Nitrite: "sodium nitrite", Borate: "borax", Amine: "amine"}
	name, ok := names[i]
	if !ok {
		return Caution{}, false
	}
	c := substance(name)
	c.Text = "Statements are of the inhibitor as supplied; in the loop it is thinned. Gloves and goggles when you handle it undiluted; never into a drain. " + Deferral
	return c, true
}

func biocideCaution(b Biocide) (Caution, bool) {
	names := map[Biocide]string{
		Isothiazolinone: "isothiazolinone", Glutaraldehyde: "glutaraldehyde", Bronopol: "bronopol",
		Quat: "quaternary ammonium", CopperBiocide: "copper sulfate", SilverBiocide: "silver nitrate", Oxidiser: "oxidising biocide",
	}
	name, ok := names[b]
	if !ok {
		return Caution{}, false
	}
	c := biocideWords(substance(name))
	c.Text = "Statements are of the biocide as supplied. " + c.Text
	return c, true
}

// biocideWords is what holds for every biocide.
func biocideWords(c Caution) Caution {
	c.Text = "Undiluted only with its safety data sheet at hand, gloves, goggles and fresh air; never decant it into an unlabelled bottle; dose by the label and no more. " +
		"In use many biocides sensitise the skin even at a few mg/kg: gloves for every drop. Very harmful to water life: never into a drain. " + Deferral
	c.OwnerText = "The coolant holds a biocide that can cause skin allergy. Do not touch drips with bare hands. " + Deferral
	return c
}

// Task is something a technician does to a loop that can hurt.
type Task string

// The tasks with cautions of their own.
const (
	TaskOpen  Task = "open"  // open, drain, fill, top up
	TaskClean Task = "clean" // clean parts or flush with an agent
	TaskDose  Task = "dose"  // handle undiluted inhibitor or biocide
	TaskTest  Task = "test"  // leak and pressure tests
	TaskWaste Task = "waste" // store and hand over used coolant
)

// words name the task on a sheet.
func (t Task) words() string {
	switch t {
	case TaskOpen:
		return "opening a loop"
	case TaskClean:
		return "cleaning"
	case TaskDose:
		return "inhibitor or biocide undiluted"
	case TaskTest:
		return "leak test"
	case TaskWaste:
		return "used coolant"
	}
	return string(t)
}

// alcoholSubstance is the alcohol that loops are cleaned with.
const alcoholSubstance = "isopropanol"

// TaskCautions returns what to mind for a task, whatever the liquid; what is in the liquid comes from [Cautions]. An unknown task
// has none.
func TaskCautions(t Task) []Caution {
	say := func(text, source string, g Grade) Caution {
		return Caution{Substance: t.words(), Text: text + " " + Deferral, Source: source, Grade: g}
	}
	switch t {
	case TaskOpen:
		return []Caution{
			say("Power off and unplug, and let the coolant cool below 40 °C first: a hot loop is under pressure and scalds. Mains wiring and refrigerant circuits are for licensed people only.", "common practice, no source", Practice),
			say("Gloves and eye protection. Wipe spills up at once: they are slippery, and ethylene glycol is poisonous. Liquid on a board: off, unplug, soak up, dry for two days.", "common practice, no source", Practice),
			say("Do not decide on first aid yourself: swallowed coolant means the poison centre at once, no vomiting. In the eyes: rinse for several minutes, remove contact lenses, see a doctor.", "ILO/WHO ICSC 0270 (2018)", Standard),
		}
	case TaskClean:
		alcohol := substance(alcoholSubstance)
		alcohol.Text = "Alcohol vapour burns: no flame, spark, heat gun or running machine near it, fresh air, small amounts. Not on acrylic. " + Deferral
		return []Caution{
			alcohol,
			say("Goggles and gloves with acid, alkali and bleach. Never bleach with acid (chlorine gas) and never bleach with ammonia (chloramine gas). One agent at a time, rinse between.", "safety data sheets; common practice", Maker),
			say("No flame and no heat gun on a closed loop or a loop with liquid in it.", "common practice, no source", Practice),
		}
	case TaskDose:
		return []Caution{
			say("Data sheet at hand, goggles and gloves, fresh air. Dose by the label of the product and no more; never from an unlabelled bottle; never concentrate into concentrate.", "safety data sheets; common practice", Maker),
		}
	case TaskTest:
		return []Caution{
			say("Leak test with only the pump powered, about 24 hours. Air at most 0.5 bar and never above what the weakest part bears; stand aside, and vent before opening. Never oxygen.", "common practice, no source", Practice),
		}
	case TaskWaste:
		return []Caution{
			say("Used coolant goes to a licensed contractor, who assigns the waste code; keep glycols, water with biocide and oil apart, closed and labelled, out of reach of children and animals. Never into a drain, a gully or the ground.", "waste classification guidance of a national regulator; local rules decide", Standard),
		}
	}
	return nil
}
