// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"slices"
	"strings"
)

// Agent is something to clean or flush with.
type Agent string

// The agents with rules of their own. Bleach is hypochlorite.
const (
	Alcohol  Agent = "alcohol" // isopropanol, ethanol
	Acid     Agent = "acid"    // citric acid, vinegar, descaler
	Alkali   Agent = "alkali"  // caustic, washing soda, dishwasher powder
	Bleach   Agent = "bleach"
	Ammonia  Agent = "ammonia"
	Peroxide Agent = "peroxide"
)

// Agents returns all agents known here.
func Agents() []Agent { return []Agent{Alcohol, Acid, Alkali, Bleach, Ammonia, Peroxide} }

// ParseAgent reads an agent; else an [*InvalidError] that lists them.
func ParseAgent(s string) (Agent, error) {
	if s == "" {
		return "", &InvalidError{"agent", s, "say what to clean with"}
	}
	return oneOf("agent", s, Agents())
}

// CleaningRequest asks whether agents may be used on a loop.
type CleaningRequest struct {
	Agents   []Agent // used in one go or one after the other without a rinse between
	Metals   []Metal
	Acrylic  bool    // acrylic or polycarbonate is wetted: reservoirs, distribution plates
	Ignition bool    // flame, spark, heat gun or a running machine is near
	Hot      bool    // the loop or the agent is above 40 °C
	Biocide  Biocide // still in the loop
}

// CheckCleaning returns every rule that a way of cleaning breaks; [Judge] makes one verdict of them. Agents that are none are an
// [*InvalidError].
func CheckCleaning(r CleaningRequest) ([]Reason, error) {
	for _, a := range r.Agents {
		if !slices.Contains(Agents(), a) {
			_, err := ParseAgent(string(a))
			return nil, err
		}
	}
	f := &facts{metals: r.Metals, biocide: r.Biocide, cleaning: &r}
	return f.fire(cleaningRules()), nil
}

// CleaningCautions returns what to mind with the agents: what each is and does as supplied, then what holds for all cleaning.
func CleaningCautions(agents []Agent) []Caution {
	var out []Caution
	for _, c := range TaskCautions(TaskClean) {
		if c.Substance != alcoholSubstance || slices.Contains(agents, Alcohol) {
			out = append(out, c)
		}
	}
	names := map[Agent]string{Acid: "acid", Alkali: "alkali", Ammonia: "ammonia", Bleach: "oxidising biocide", Peroxide: "oxidising biocide"}
	var own []Caution
	for _, a := range Agents() {
		name, ok := names[a]
		if !ok || !slices.Contains(agents, a) {
			continue
		}
		c := substance(name)
		c.Substance = string(a)
		if a == Peroxide { // of hypochlorite alone: no toxic gas comes off peroxide with acid
			c.H = slices.DeleteFunc(c.H, func(h string) bool { return strings.HasPrefix(h, "EUH031") })
		}
		c.Text = "Statements are of the agent as supplied. Goggles and gloves, fresh air; rinse eyes for several minutes and see a doctor. " + Deferral
		own = append(own, c)
	}
	return append(own, out...)
}

// cleans reports whether one of the agents is used.
func (f *facts) cleans(agents ...Agent) bool {
	return f.cleaning != nil && slices.ContainsFunc(agents, func(a Agent) bool { return slices.Contains(f.cleaning.Agents, a) })
}

// oxidises reports whether there is hypochlorite: as an agent, or as a biocide still in the loop.
func (f *facts) oxidises() bool {
	return f.cleans(Bleach) || f.cleaning != nil && f.biocide == Oxidiser
}

// cleaningRules say what must not be cleaned with what.
func cleaningRules() []Rule {
	return []Rule{
		{
			ID: "bleach-acid", When: "bleach, or an oxidising biocide still in the loop, meets acid", Verdict: Stop,
			Text:   "chlorine gas comes off: never together, never one after the other without a thorough rinse. Use one of them.",
			Source: "CLP EUH031 of hypochlorite: contact with acids liberates toxic gas", Grade: Standard,
			applies: func(f *facts) bool { return f.oxidises() && f.cleans(Acid) },
		},
		{
			ID: "bleach-ammonia", When: "bleach, or an oxidising biocide still in the loop, meets ammonia", Verdict: Stop,
			Text:   "chloramine gas comes off: never together, never one after the other without a thorough rinse. Use one of them.",
			Source: "safety data sheets of hypochlorite", Grade: Maker,
			applies: func(f *facts) bool { return f.oxidises() && f.cleans(Ammonia) },
		},
		{
			ID: "alcohol-acrylic", When: "alcohol on acrylic or polycarbonate", Verdict: Stop,
			Text:   "alcohol crazes acrylic, at once where it is under stress. Use water with a drop of washing-up liquid.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.cleans(Alcohol) && f.cleaning.Acrylic },
		},
		{
			ID: "acid-alkali-aluminium", When: "acid or alkali on aluminium or zinc", Verdict: Stop,
			Text:   "the oxide film that protects aluminium holds from about pH 4.0 to 8.5; outside it the metal dissolves and gives off hydrogen. Flush with water, or use a cleaner whose maker names aluminium.",
			Source: "cold plate maker's corrosion note: film stable at pH 4.0 to 8.5", Grade: Maker,
			applies: func(f *facts) bool { return f.cleans(Acid, Alkali, Ammonia) && f.wets(Aluminium, Zinc) },
		},
		{
			ID: "ammonia-brass", When: "ammonia on brass or copper", Verdict: Stop,
			Text:   "ammonia cracks stressed brass and dissolves copper. Use a cleaner that holds none.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.cleans(Ammonia) && f.wets(Brass, Copper) },
		},
		{
			ID: "bleach-metal", When: "bleach or peroxide in a metal loop", Verdict: Care,
			Text:   "oxidisers attack copper, strip azole and swell seals. If it must be: thin, short, and rinse until the rinse water is clean.",
			Source: "UFC 3-240-13FN (2005); rack door maker's water specification", Grade: Standard,
			applies: func(f *facts) bool {
				return f.cleans(Bleach, Peroxide) && f.wets(Copper, Brass, Aluminium, Steel, StainlessSteel, Nickel, Solder, Zinc)
			},
		},
		{
			ID: "alcohol-ignition", When: "alcohol near flame, spark, heat or a running machine", Verdict: Stop,
			Text:   "isopropanol flashes at 12 °C: its vapour burns at room temperature. No ignition near, fresh air, machine unplugged.",
			Source: "safety data sheet: H225, flash point 11.7 °C", Grade: Maker,
			applies: func(f *facts) bool { return f.cleans(Alcohol) && (f.cleaning.Ignition || f.cleaning.Hot) },
		},
		{
			ID: "hot-cleaning", When: "acid, alkali or bleach above 40 °C", Verdict: Care,
			Text:   "heat speeds corrosion and drives off vapour: clean cold, with goggles.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return f.cleaning != nil && f.cleaning.Hot && f.cleans(Acid, Alkali, Bleach, Ammonia, Peroxide)
			},
		},
		{
			ID: "cleaning-eyes", When: "any cleaning agent", Verdict: Go,
			Text:   "goggles and gloves; rinse until the rinse water runs clear and its conductivity is back to that of the fresh water; then rinse once more with dilution water.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool { return f.cleaning != nil && len(f.cleaning.Agents) > 0 },
		},
	}
}

// Rinses returns how many rinses bring the share of the old liquid in a loop to residue (0 to 1) or less, and that share. Each time
// left of volume stays behind, so after n rinses the loop holds (left/volume)^n of it; the final fill thins it once more.
// left must be above 0 and below volume; else an [*InvalidError].
func Rinses(left, volume Litre, residue float64) (n int, share float64, err error) {
	if err := checkBounds([]bound{
		{"volume", float64(volume), 1e-6, 1e5, "more than nothing and at most 100000 l"},
		{"left, ml", left.Millilitres(), 1e-6, 0.999 * volume.Millilitres(), "more than nothing and less than the loop's volume"},
		{"residue, %", 100 * residue, 1e-7, 100, "a share above 0 and up to 100 %"},
	}); err != nil {
		return 0, 0, err
	}
	ratio := float64(left) / float64(volume)
	n = max(0, int(math.Ceil(math.Log(residue)/math.Log(ratio)-1e-9)))
	return n, math.Pow(ratio, float64(n)), nil
}

// RinseDone reports whether rinse water shows that a loop is clean: no colour, no particles, and a conductivity in µS/cm that has come
// back to that of the fresh water, within a tenth and 5 µS/cm. Common practice, no source. Negative conductivities are an
// [*InvalidError].
func RinseDone(rinse, fresh float64, coloured bool) (bool, error) {
	if err := checkBounds([]bound{
		{"conductivity of the rinse water", rinse, 0, 1e6, "0 or more µS/cm"},
		{"conductivity of the fresh water", fresh, 0, 1e6, "0 or more µS/cm"},
	}); err != nil {
		return false, err
	}
	return !coloured && rinse <= 1.1*fresh+5, nil
}
