// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

// Contents is what is in a loop or a bottle, as far as it is known.
type Contents struct {
	Fluid     Fluid         // "": unknown
	Mass      *MassFraction // nil: unknown
	Inhibitor Inhibitor
	Biocide   Biocide
}

// Caution is what one substance in a liquid can do to people and animals, and how to handle it.
type Caution struct {
	Substance string
	Signal    string   // signal word after CLP/GHS: "Warning", "Danger" or "" for none
	H, P      []string // hazard and precautionary statements with their code: "H302 Harmful if swallowed."
	Text      string   // for the technician
	OwnerText string   // for the owner
	Source    string
	Grade     Grade
}

const deferral = "The safety data sheet of the product and local rules decide."

// Cautions returns the handling cautions for a liquid, the worst first. There is always at least one, and every text defers to
// the safety data sheet and local rules.
func Cautions(c Contents) []Caution {
	switch c.Fluid {
	case EthyleneGlycol:
		return []Caution{ethyleneCaution()}
	case PropyleneGlycol:
		return []Caution{propyleneCaution()}
	case TreatedWater:
		return []Caution{treatedWaterCaution()}
	case DeionisedWater:
		return []Caution{deionisedCaution()}
	}
	unknown := ethyleneCaution()
	unknown.Substance = "unknown coolant"
	unknown.Text = "Treat an unknown coolant as ethylene glycol until proven otherwise. " + unknown.Text
	unknown.OwnerText = "We do not know what is in this loop, so treat it as poisonous. " + unknown.OwnerText
	return []Caution{unknown}
}

func ethyleneCaution() Caution {
	return Caution{
		Substance: "ethylene glycol",
		Signal:    "Warning",
		H: []string{
			"H302 Harmful if swallowed.",
			"H373 May cause damage to organs through prolonged or repeated exposure.",
		},
		P: []string{
			"P264 Wash hands thoroughly after handling.",
			"P270 Do not eat, drink or smoke when using this product.",
			"P301+P317 IF SWALLOWED: Get medical help.",
			"P330 Rinse mouth.",
			"P501 Dispose of contents and container in accordance with local rules.",
		},
		Text: "Poisonous if swallowed; it tastes sweet, and small amounts kill cats and dogs. Gloves and eye protection; wipe up every drop; closed, labelled containers out of reach of children and animals. " +
			"Swallowed: call the poison centre at once, do not wait for symptoms, rinse the mouth, do not induce vomiting. Never into a drain or on the ground. " + deferral,
		OwnerText: "The coolant is poisonous if swallowed and tastes sweet. Keep children and animals away from any drip, wipe it up and wash your hands. " +
			"If anyone or any animal swallowed some, call the poison centre or the vet at once, even without symptoms; do not make them vomit. " + deferral,
		Source: "ILO/WHO ICSC 0270 (2018); statement codes from notifier statistics of the CLP inventory",
		Grade:  Standard,
	}
}

func propyleneCaution() Caution {
	return Caution{
		Substance: "propylene glycol",
		Text: "Not classified as hazardous when pure; inhibitors, biocide and dissolved metal may be. Gloves and eye protection; spills are slippery; do not drink. " +
			"Swallowed: rinse the mouth, ask the poison centre. Used coolant never into a drain without the consent of the local authority. " + deferral,
		OwnerText: "The coolant is of low hazard, but it is not for drinking: it holds additives and dissolved metal. Wipe up drips, wash your hands, keep children and animals away. " +
			"If swallowed, ask the poison centre. " + deferral,
		Source: "ILO/WHO ICSC 0321 (2014): no GHS classification",
		Grade:  Standard,
	}
}

func treatedWaterCaution() Caution {
	return Caution{
		Substance: "water with additives",
		Text: "Inhibitor and biocide may irritate or sensitise the skin. Gloves and eye protection; do not drink; keep from frost: it freezes at 0 °C and bursts what holds it. " +
			"Never store or ship it near freezing. " + deferral,
		OwnerText: "The liquid is water with additives: not for drinking. Wipe up drips and wash your hands. It freezes at 0 °C: never leave or ship the machine in the cold. " + deferral,
		Source:    "common practice, no source; frost: physics of water",
		Grade:     Practice,
	}
}

func deionisedCaution() Caution {
	return Caution{
		Substance: "deionised water",
		Text: "Harmless by itself, but it takes up metal and breeds microbes in the loop. It freezes at 0 °C and bursts what holds it: never store or ship it near freezing. " +
			"Add nothing: any additive conducts. " + deferral,
		OwnerText: "The liquid is pure water. It freezes at 0 °C: never leave or ship the machine in the cold. Add nothing. " + deferral,
		Source:    "common practice, no source; frost: physics of water",
		Grade:     Practice,
	}
}
