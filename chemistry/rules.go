// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "slices"

// Rule is one line of the rules table: what must not or need not happen in a loop.
type Rule struct {
	ID        string
	When      string // the condition in words
	Verdict   Verdict
	Text      string // for the technician
	OwnerText string // for the owner; empty when it is none of the owner's business
	Source    string
	Grade     Grade

	applies func(*facts) bool
	detail  func(*facts) string // figures of the case, put before Text; may be nil
}

// facts is what the rules look at.
type facts struct {
	fluids     []Fluid // of the charge and of everything that would go in; unknown ones left out
	unknown    bool    // the fluid in the loop is not known
	noMass     bool    // the strength in the loop is not known
	inhibitors []Inhibitor
	biocides   []Biocide
	metals     []Metal
	after      FractionState
	glycol     bool // after the top-up there is glycol at all
	sealed     bool
	room       Litre // free now
	expansion  Litre // needed up to the hottest temperature
	wall       *Celsius
	target     Celsius // freeze point wanted
	badEnd     Celsius // freeze point after, warm end of its interval
	additive   bool    // something conducting would go into deionised water
	unreached  bool    // the liquids at hand cannot reach the wanted strength
}

func (f *facts) has(fluid Fluid) bool { return slices.Contains(f.fluids, fluid) }
func (f *facts) wets(m Metal) bool    { return slices.Contains(f.metals, m) }

// Rules returns the rules table in the order it is listed for people. Whoever calls it owns the slice.
func Rules() []Rule { return rules() }

// reasons returns the rules that fire on f, in the table's order.
func (f *facts) reasons() []Reason {
	var out []Reason
	for _, r := range rules() {
		if r.applies(f) {
			text := r.Text
			if r.detail != nil {
				text = r.detail(f) + ": " + text
			}
			out = append(out, Reason{r.ID, r.Verdict, text, r.OwnerText, r.Source, r.Grade})
		}
	}
	return out
}

// strengthReasons returns the rules about the strength of a liquid alone.
func strengthReasons(fluid Fluid, s FractionState) []Reason {
	f := &facts{fluids: []Fluid{fluid}, after: s, glycol: fluid.IsGlycol() && s.Mass > 0}
	return slices.DeleteFunc(f.reasons(), func(r Reason) bool { return !slices.Contains(strengthRules, r.Rule) })
}

var strengthRules = []string{"glycol-feeds", "glycol-grey", "glycol-too-strong"}

func rules() []Rule {
	return []Rule{
		{
			ID: "eg-with-pg", When: "ethylene glycol meets propylene glycol", Verdict: Stop,
			Text:      "never mix the two glycols: no refractometer scale reads the mixture, and the inhibitors were not made for each other. Drain, rinse and fill with one.",
			OwnerText: "Nothing may be added: the wrong coolant would spoil what is in the loop.",
			Source:    "ASTM D3321: mixtures fit neither scale", Grade: Standard,
			applies: func(f *facts) bool { return f.has(EthyleneGlycol) && f.has(PropyleneGlycol) },
		},
		{
			ID: "deionised-additive", When: "anything but deionised water would go into a deionised loop", Verdict: Stop,
			Text:      "this loop needs low conductivity; any ionic additive and any glycol product conducts. Use deionised water only.",
			OwnerText: "Nothing may be added: only pure water is allowed in this loop.",
			Source:    "server maker's direct-water-cooling standard 2024: above 1 MΩ cm at fill", Grade: Secondary,
			applies: func(f *facts) bool { return f.additive },
		},
		{
			ID: "expansion-room", When: "a sealed loop has less room than the coolant expands up to its hottest", Verdict: Stop,
			Text:      "add nothing: the liquid has no room to expand and will burst a joint or a tube when it warms. Draw some off if it was overfilled.",
			OwnerText: "The loop is full; adding more could burst it.",
			Source:    "computed from the density tables, fill temperature to hottest coolant temperature", Grade: Computed,
			applies: func(f *facts) bool { return f.sealed && f.room < f.expansion },
			detail:  func(f *facts) string { return "room " + f.room.String() + ", needed " + f.expansion.String() },
		},
		{
			ID: "unknown-charge", When: "the fluid in the loop is not known", Verdict: Stop,
			Text:      "find out first: measure, or drain, rinse and fill afresh. Colour is not a type.",
			OwnerText: "We do not know what is in the loop, so nothing may be added.",
			Source:    "common practice, no source; a wrong glycol scale is off by 10 °C or more (ASTM D3321)", Grade: Practice,
			applies: func(f *facts) bool { return f.unknown },
		},
		{
			ID: "unknown-strength", When: "the strength of the glycol in the loop is not known", Verdict: Stop,
			Text:   "measure it with a refractometer before anything is added; nothing can be said of frost until then.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.noMass },
		},
		{
			ID: "frost", When: "even its uncertainty counted, the freeze point stays above the coldest wetted wall", Verdict: Stop,
			Text:      "the liquid may freeze at the coldest wall after this.",
			OwnerText: "The coolant may freeze where the machine gets coldest.",
			Source:    "Melinder 2010 and ASHRAE Handbook Fundamentals", Grade: Secondary,
			applies: func(f *facts) bool { return f.wall != nil && f.badEnd > *f.wall },
			detail: func(f *facts) string {
				return "freeze point " + f.after.Freeze.Stated.String() + " ± " + f.after.Freeze.Uncertainty.String() + ", wall " + f.wall.String()
			},
		},
		{
			ID: "frost-margin", When: "the freeze point stays above the wall less the margin", Verdict: Care,
			Text:   "it will not freeze at the wall, but the margin asked for is not met.",
			Source: "margin: coolant laboratory guide, 5 °C or more below the lowest temperature", Grade: Maker,
			applies: func(f *facts) bool {
				return f.wall != nil && f.badEnd <= *f.wall && f.after.Freeze.Stated > f.target.Add(0.05)
			},
			detail: func(f *facts) string {
				return "freeze point " + f.after.Freeze.Stated.String() + ", wanted " + f.target.String()
			},
		},
		{
			ID: "glycol-feeds", When: "glycol from 1 to below 20 vol %", Verdict: Stop,
			Text:      "that little glycol feeds microbes instead of stopping them, and the inhibitor is below its strength. Go to 25 vol % or more, or to water without glycol.",
			OwnerText: "The coolant is too thin and would grow slime.",
			Source:    "glycol maker 2019 and hydronic maker 2015: below 20 % fouls", Grade: Maker,
			applies: func(f *facts) bool { return f.glycol && f.after.Volume >= 0.01 && f.after.Volume < 0.20 },
			detail:  func(f *facts) string { return f.after.Volume.String() },
		},
		{
			ID: "glycol-grey", When: "glycol from 20 to below 25 vol %", Verdict: Care,
			Text:   "grey zone: some microbes still live on it. 25 vol % or more is biostatic.",
			Source: "hydronic maker 2015", Grade: Maker,
			applies: func(f *facts) bool { return f.glycol && f.after.Volume >= 0.20 && f.after.Volume < 0.2495 },
			detail:  func(f *facts) string { return f.after.Volume.String() },
		},
		{
			ID: "glycol-too-strong", When: "glycol above 60 vol %", Verdict: Care,
			Text:   "too strong: it carries less heat, pumps hard, and inhibitor packages are made for 25 to 60 vol %.",
			Source: "fluid makers 2015 and 2023", Grade: Maker,
			applies: func(f *facts) bool { return f.glycol && f.after.Volume > 0.60 },
			detail:  func(f *facts) string { return f.after.Volume.String() },
		},
		{
			ID: "unreached", When: "the liquids at hand cannot bring the loop to the wanted strength", Verdict: Care,
			Text:   "with these liquids the wanted strength is not reached; the steps come nearest. Get a stronger or a weaker liquid.",
			Source: "computed, mass balance", Grade: Computed,
			applies: func(f *facts) bool { return f.unreached },
		},
	}
}
