// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"slices"
	"strconv"
	"strings"
)

// The rules table, by subject. To add a rule add a line here: the condition in words, its verdict, what the technician and the
// owner are told, and where it comes from. A rule of grade Z is told and never decides.

// mixingRules say which liquids must not meet.
func mixingRules() []Rule {
	return []Rule{
		{
			ID: "eg-with-pg", When: "ethylene glycol meets propylene glycol", Verdict: Stop,
			Text:      "never mix the two glycols: no refractometer scale reads the mixture, and the inhibitors were not made for each other. Leave out the other glycol, or drain, rinse and fill with one.",
			OwnerText: "Nothing may be added: the wrong coolant would spoil what is in the loop.",
			Source:    "ASTM D3321: mixtures fit neither scale", Grade: Standard,
			applies: (*facts).glycols,
		},
		{
			ID: "deionised-additive", When: "anything but deionised water would go into a deionised loop", Verdict: Stop,
			Text:      "this loop needs low conductivity; every ionic additive and every glycol product conducts. Use deionised water only.",
			OwnerText: "Nothing may be added: only pure water is allowed in this loop.",
			Source:    "common practice, no source", Grade: Practice,
			applies: (*facts).conducts,
		},
		{
			ID: "glycol-into-water", When: "glycol would go into a loop that runs on water with additives", Verdict: Stop, Overrulable: true,
			Text:      "a top-up makes a weak glycol that feeds microbes, and the water's additives were not made for it. To change the fluid drain, rinse and refill.",
			OwnerText: "Nothing may be added: the loop runs on water.",
			Source:    "common practice, no source", Grade: Practice,
			applies: (*facts).glycolIntoWater,
		},
		{
			ID: "not-for-electronics", When: "the liquid is neither glycol in water nor water", Verdict: Stop,
			Text:      "spirit burns, salts conduct and corrode: it is no coolant for electronics, and nothing here is worked out for it. Drain, rinse and fill with glycol or water.",
			OwnerText: "The liquid in the loop is not made for it.",
			Source:    "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.base.other() != nil },
		},
		{
			ID: "unknown-charge", When: "the fluid in the loop is not known", Verdict: Stop,
			Text:      "add nothing. Look for the bottle, its label or the record of the last fill: colour is not a type, and a refractometer cannot tell one glycol from the other. If it stays unknown drain, rinse and refill.",
			OwnerText: "We do not know what is in the loop, so nothing may be added.",
			Source:    "ASTM D3321: the other glycol's scale is wrong", Grade: Standard,
			applies: func(f *facts) bool { return f.unknown },
		},
		{
			ID: "unknown-strength", When: "the strength of the glycol in the loop is not known", Verdict: Stop,
			Text:   "measure it with a refractometer before anything is added; nothing can be said of frost until then.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.noMass },
		},
		{
			ID: "inhibitor-unknown", When: "the inhibitor in the loop is not known", Verdict: Care,
			Text:   "the inhibitor in the loop is not known, so what protects it and what it bears is not judged. Read the bottle or the record of the last fill, and say which it is, or that there is none.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return f.planned && f.base != DeionisedWater && f.inhibitor == "" && len(f.inhibitors()) == 0
			},
		},
		{
			ID: "inhibitor-unstated", When: "the inhibitor of either the charge or a glycol at hand is not stated", Verdict: Care,
			Text:   "the inhibitor is known on one side only. Make sure that it is the same product: colour is not a type.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return f.planned && f.offers(func(l Liquid) bool { return l.Fluid.IsGlycol() && (l.Inhibitor == "") != (f.inhibitor == "") })
			},
		},
		{
			ID: "dilution-water", When: "tap or well water would go into the loop", Verdict: Care,
			Text:   "water for dilution should hold at most 25 mg/l chloride, 25 mg/l sulfate and 100 mg/l hardness (as calcium carbonate); check a water report, or use distilled or deionised water.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.offers(func(l Liquid) bool { return l.Tap }) },
		},
	}
}

// corrosionRules say which metals and inhibitors go together.
func corrosionRules() []Rule {
	return []Rule{
		{
			ID: "copper-aluminium", When: "copper or brass with aluminium and no inhibitor", Verdict: Stop, Overrulable: true,
			Text:      "without inhibitor the copper eats the aluminium (and dissolved copper plates out on it). Fill with an inhibited coolant made for both metals.",
			OwnerText: "This coolant would corrode the loop.",
			Source:    "Open Compute Project, rack and tray liquid cooling specification Rev 1.1, sections 11 and 12: no aluminium in a copper loop", Grade: Secondary,
			applies: func(f *facts) bool {
				return f.galvanic() && f.inhibitor == NoInhibitor && !f.protects(Copper, Aluminium)
			},
			detail: galvanicDetail,
		},
		{
			ID: "copper-aluminium-unknown", When: "copper or brass with aluminium and the inhibitor not known", Verdict: Care,
			Text:   "this pair lives by its inhibitor, which is not known here. Look for corrosion at every service, or change to a coolant made for both metals.",
			Source: "Open Compute Project, rack and tray liquid cooling specification Rev 1.1, sections 11 and 12: no aluminium in a copper loop", Grade: Secondary,
			applies: func(f *facts) bool { return f.galvanic() && f.inhibitor == "" },
			detail:  galvanicDetail,
		},
		{
			ID: "copper-aluminium-inhibitor", When: "copper or brass with aluminium and an inhibitor that is not known to protect both", Verdict: Care,
			Text:   "this pair lives by its inhibitor, and no source says that this one protects both metals. Ask its maker, or change to a coolant made for both.",
			Source: "Open Compute Project, rack and tray liquid cooling specification Rev 1.1, sections 11 and 12: no aluminium in a copper loop", Grade: Secondary,
			applies: func(f *facts) bool {
				return f.galvanic() && f.inhibitor != "" && f.inhibitor != NoInhibitor && !f.protects(Copper, Aluminium)
			},
			detail: galvanicDetail,
		},
		{
			ID: "azole-for-copper", When: "copper or brass is wetted and the inhibitor holds no azole", Verdict: Care,
			Text:   "copper needs an azole beside this inhibitor. Ask the maker whether the product holds one.",
			Source: "UFC 3-240-13FN (2005), section 5-2", Grade: Standard,
			applies: func(f *facts) bool {
				// Organic and hybrid packages hold one as a rule, so a single family without is what is asked about.
				single := []Inhibitor{NoInhibitor, Nitrite, Molybdate, Silicate, Phosphate, Borate, Amine, Sulfite}
				return f.base != DeionisedWater && f.wets(Copper, Brass) && slices.Contains(single, f.inhibitor) && !f.inhibits(Azole)
			},
		},
		{
			ID: "nitrite-aluminium", When: "aluminium in a coolant above pH 8.9, as nitrite and borate programmes run", Verdict: Care,
			Text:   "aluminium dissolves at high pH: keep it between 7.5 and 8.9, or use a package made for aluminium.",
			Source: "UFC 3-240-13FN (2005): polysilicate at pH 7.5 to 8.9 where aluminium is present", Grade: Standard,
			applies: func(f *facts) bool { return f.wets(Aluminium) && f.pH != nil && *f.pH > 8.9 },
			detail:  phDetail,
		},
		{
			ID: "acid", When: "pH below 7", Verdict: Care,
			Text:      "the coolant has turned acid: the glycol has aged or the inhibitor is spent. Change it. (A pH in range does not clear a coolant.)",
			OwnerText: "The coolant is worn out.",
			Source:    "common practice, no source; ASTM D1287: pH alone is no sign of remaining life", Grade: Practice,
			applies: func(f *facts) bool { return f.base != DeionisedWater && f.pH != nil && *f.pH < 7 },
			detail:  phDetail,
		},
	}
}

// biocideRules say what spoils a biocide or is spoilt by one.
func biocideRules() []Rule {
	return []Rule{
		{
			ID: "isothiazolinone-ph", When: "isothiazolinone above pH 9", Verdict: Care,
			Text:   "isothiazolinone falls apart above pH 9: do not count on it for long.",
			Source: "NACE CORROSION 2004, abstract 04-52203", Grade: Secondary,
			applies: func(f *facts) bool { return f.treated(Isothiazolinone) && f.pH != nil && *f.pH > 9 },
		},
		{
			ID: "family-unknown", When: "the family of an additive is not known", Verdict: Care,
			Text:   "nobody can say whether it suits the charge and the metals. Look on its label or safety data sheet.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return slices.ContainsFunc(f.additives, func(a Family) bool { return a.ID == "" })
			},
			detail: func(*facts) string { return "an additive of which the family is not known" },
		},
		{
			ID: "nitrite-feeds", When: "nitrite without a biocide", Verdict: Care,
			Text:   "bacteria eat nitrite: without a biocide the protection goes. Use what the label names.",
			Source: "UFC 3-240-13FN (2005)", Grade: Standard,
			applies: func(f *facts) bool { return f.inhibits(Nitrite) && f.biocide == NoBiocide },
		},
		{
			ID: "dose-diluted", When: "an additive is below what its label asks for", Verdict: Care,
			Text:   "dose again by the label, or change the coolant if the label does not allow it.",
			Source: "the label", Grade: Maker,
			applies: func(f *facts) bool { return slices.ContainsFunc(f.doses, DoseLevel.Spent) },
			detail: func(f *facts) string {
				var low []string
				for _, d := range f.doses {
					if d.Spent() {
						low = append(low, d.Name+" at "+strconv.Itoa(int(100*d.Level+0.5))+" % of the dose")
					}
				}
				return strings.Join(low, ", ")
			},
		},
	}
}

// strengthRules say how much glycol is too little or too much for anything but frost.
func strengthRules() []Rule {
	return []Rule{
		{
			ID: "glycol-feeds", When: "glycol from a trace (0.2 vol %) to below 20 vol %", Verdict: Stop, Overrulable: true,
			Text:      "that little glycol feeds microbes instead of stopping them, and the inhibitor is below its strength. Go to 25 vol % or more, or to water without glycol.",
			OwnerText: "The coolant is too thin and would grow slime.",
			Source:    "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.glycol && (f.wished || f.after.Volume >= 0.002) && f.after.Volume < 0.20 },
			detail:  volumeDetail,
		},
		{
			ID: "glycol-grey", When: "glycol from 20 to below 25 vol %", Verdict: Care,
			Text:   "grey zone: some microbes still live on it. 25 vol % or more is biostatic.",
			Source: "common practice, no source", Grade: Practice,
			// The scale's step may leave a wish for 25 a trace below.
			applies: func(f *facts) bool {
				return f.glycol && f.after.Volume >= 0.20 && f.after.Volume.Feeds()
			},
			detail: volumeDetail,
		},
		{
			ID: "glycol-too-strong", When: "glycol above 60 vol %", Verdict: Care,
			Text:   "too strong: it carries less heat, pumps hard, and inhibitor packages are made for 25 to 60 vol %. Thin it, unless the frost it must bear asks for more.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.glycol && f.after.Volume > 0.60 },
			detail: func(f *facts) string {
				if f.after.Mass > MaxMassFraction {
					return volumeDetail(f) + ", beyond the tables, so that nothing is said of frost"
				}
				return volumeDetail(f)
			},
		},
		{
			ID: "predilution", When: "neat concentrate is to be thinned for a system of 100 l or more", Verdict: Care,
			Text:   "that is predilution, no recipe for a bench: have it delivered ready mixed, or thin the concentrate in a tank outside the system, in batches, and read each batch before it goes in. Never pour concentrate into the system: it sinks, and additives drop out.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.bulk },
		},
		{
			ID: "label-unread", When: "a bought product of whose label no freeze point is known", Verdict: Care,
			Text:   "its per cent is read as per cent of glycol, and the interval is wider for it. Read a line of its label, or measure the mix before it goes in.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.guess },
		},
		{
			ID: "coarse-scale", When: "the scale's step may shift the strength by more than half a mass percent", Verdict: Care,
			Text:   "the scale is coarse for this amount: use a finer one or mix more.",
			Source: "computed from the step and the amount", Grade: Computed,
			applies: func(f *facts) bool { return f.coarse },
		},
	}
}

// frostRules say whether the liquid bears the coldest wall.
func frostRules() []Rule {
	return []Rule{
		{
			ID: "frost", When: "at the warm end of its interval the freeze point lies above the coldest wetted wall", Verdict: Stop, Overrulable: true,
			Text:      "the liquid may freeze at the coldest wall. Get a stronger liquid, drain and refill, or keep the machine from that cold.",
			OwnerText: "The coolant may freeze where the machine gets coldest.",
			Source:    "Melinder 2010 and ASHRAE Handbook Fundamentals", Grade: Secondary,
			applies: func(f *facts) bool { return f.planned && f.wall != nil && f.badEnd > *f.wall },
			detail: func(f *facts) string {
				return "freeze point " + f.after.Freeze.String() + ", wall " + f.wall.String()
			},
		},
		{
			ID: "frost-margin", When: "the freeze point lies above the wall less the margin", Verdict: Care,
			Text:   "it will not freeze at the wall, but the margin asked for is not met.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				// A tenth of a kelvin is less than the tables can tell.
				return f.planned && f.wall != nil && f.badEnd <= *f.wall && f.after.Freeze.Stated > f.target.Add(0.1)
			},
			detail: func(f *facts) string {
				return "freeze point " + f.after.Freeze.Stated.String() + ", wanted " + f.target.String()
			},
		},
	}
}

// loopRules say what the loop itself allows: room, reach, what is at hand.
func loopRules() []Rule {
	return []Rule{
		{
			ID: "expansion-room", When: "a sealed loop is too full for the coolant to expand up to its hottest", Verdict: Stop,
			Text:      "add nothing: the liquid has no space to expand and will burst a joint or a tube when it warms. Draw some off if it was overfilled.",
			OwnerText: "The loop is full; adding more could burst it.",
			Source:    "computed from the density tables, fill temperature to hottest coolant temperature", Grade: Computed,
			applies: func(f *facts) bool { return f.sealed && f.room < f.expansion },
			detail: func(f *facts) string {
				return "missing up to the mark " + f.room.String() + ", needed to expand " + f.expansion.String()
			},
		},
		{
			ID: "frost-not-judged", When: "the coldest wetted wall is not known", Verdict: Care,
			Text:   "no coldest wall is known, so frost is not judged. Say how cold the coldest wall gets in use, storage or transport, or that nothing in the loop can freeze; for a chiller the wall is its set point less what its maker says of the evaporator.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.planned && f.wall == nil && !f.noFrost },
		},
		{
			ID: "overfilled", When: "more is poured than the loop holds", Verdict: Stop,
			Text:   "the loop does not hold that much. Measure again what is missing, or put its volume right.",
			Source: "computed from the volumes given", Grade: Computed,
			applies: func(f *facts) bool { return f.over > sumsOff },
			detail:  func(f *facts) string { return tooMuch(f.over) },
		},
		{
			ID: "volume-unknown", When: "what the loop holds is not known", Verdict: Care,
			Text:   "what the loop holds is not known, so space to expand and dilution are not judged. Weigh it drained and filled, or measure what goes in.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.noVolume },
		},
		{
			ID: "metals-unknown", When: "the wetted metals are not known", Verdict: Care,
			Text:   "the wetted metals are not known, so corrosion is not judged. Look at plate, radiator and fittings and write down what each is made of.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.noMetals },
		},
		{
			ID: "evaporated", When: "the glycol is stronger than at the last fill", Verdict: Go,
			Text:   "water left through tube walls and the glycol stayed. Coolant may have leaked besides: weigh, and look for drops.",
			Source: "computed: water permeates, glycol does not", Grade: Computed,
			applies: func(f *facts) bool { return f.evaporated },
		},
		{
			ID: "unreached", When: "the liquids at hand cannot bring the loop to the wanted strength", Verdict: Care,
			Text:   "with these liquids the wanted strength is not reached, only the nearest to it. Get a stronger liquid against frost, a weaker one to thin it.",
			Source: "computed, mass balance", Grade: Computed,
			applies: func(f *facts) bool { return f.planned && f.unreached },
		},
		{
			ID: "room-unfilled", When: "the plan leaves room free that could be filled", Verdict: Care,
			Text:   "more of these liquids would leave the wanted strength. Leave the rest unfilled, or get a liquid that fits.",
			Source: "computed, mass balance", Grade: Computed,
			applies: func(f *facts) bool { return f.unfilled > 0 },
			detail:  func(f *facts) string { return f.unfilled.String() + " of the room stay free" },
		},
		{
			ID: "neat-concentrate", When: "neat concentrate would go into the loop with nothing to thin it", Verdict: Care,
			Text:   "thin it first, outside the loop, with dilution water: where concentrate meets the charge undiluted, additives drop out and it sinks.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.neat },
		},
		{
			ID: "drains", When: "the plan drains liquid", Verdict: Go,
			Text:   "too weak for the coldest wall, and what is missing is too little to put that right. A stronger liquid would drain less. What is drained is waste with what is in it.",
			Source: "computed, mass balance", Grade: Computed,
			applies: func(f *facts) bool { return f.drained > 0 },
			detail:  func(f *facts) string { return f.drained.String() + " to drain" },
		},
		{
			ID: "eg-within-reach", When: "ethylene glycol where animals or children can reach it", Verdict: Care,
			Text:      "ethylene glycol is poisonous and tastes sweet; small amounts kill cats and dogs. Propylene glycol is the better choice here.",
			OwnerText: "The coolant is poisonous. Keep children and animals away from the machine, and ask us about a less harmful coolant.",
			Source:    "ILO/WHO ICSC 0270 (2018)", Grade: Standard,
			applies: func(f *facts) bool { return f.base == EthyleneGlycol && f.withinReach },
		},
	}
}

// galvanic reports whether copper and aluminium are wetted by one liquid.
func (f *facts) galvanic() bool { return f.wets(Copper, Brass) && f.wets(Aluminium) }

func volumeDetail(f *facts) string { return f.after.Volume.String() }

func phDetail(f *facts) string { return "pH " + decimal(*f.pH) }

// galvanicDetail explains with the anodic index of the MIL-STD-889 tables (secondary; aluminium, -0.90 V, from memory). It ranks and never
// decides, because it was made for parts in air and a filled loop is an electrolyte.
func galvanicDetail(f *facts) string {
	noble, volts := Copper, -0.35
	if !f.wets(Copper) {
		noble, volts = Brass, -0.40
	}
	return string(noble) + " stands " + fixed(volts+0.90, 2) + " V above aluminium in the galvanic index (a ranking for parts in air)"
}
