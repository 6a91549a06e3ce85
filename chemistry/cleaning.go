// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"slices"
	"strings"
)

// Agent is something to clean or flush with. All of them stand in chemistry/tables/families.csv.
type Agent string

// The agents that rules and cautions speak of by name.
const (
	Alcohol      Agent = "alcohol" // isopropanol, ethanol
	Acetone      Agent = "acetone"
	Acid         Agent = "acid"         // mineral acid, or an acid not named
	OrganicAcid  Agent = "organic-acid" // citric acid, vinegar
	Alkali       Agent = "alkali"       // caustic, washing soda, dishwasher powder
	Bleach       Agent = "bleach"       // hypochlorite
	PoolChlorine Agent = "pool-chlorine"
	Ammonia      Agent = "ammonia"
	Peroxide     Agent = "peroxide"
)

// Agents returns all agents known here.
func Agents() []Agent { return members[Agent](KindAgent) }

// Name is the agent as the trade writes it.
func (a Agent) Name() string { return Family{KindAgent, string(a)}.Name() }

// ParseAgent reads an agent by its name or another it goes by, such as vinegar; else an [*InvalidError] that lists them.
func ParseAgent(s string) (Agent, error) {
	if s == "" {
		return "", &InvalidError{"agent", s, "say what to clean with"}
	}
	return oneOf[Agent]("agent", s, KindAgent)
}

// CleaningRequest asks whether agents may be used on a loop.
type CleaningRequest struct {
	Agents    []Agent // used in one go or one after the other without a rinse between
	Metals    []Metal
	Materials []Material // seals and plastics that are wetted
	Ignition  bool       // flame, spark, heat gun or a running machine is near
	Hot       bool       // the loop or the agent is above 40 °C
	Fluid     Fluid      // still in the loop, as biocide and inhibitor
	Biocide   Biocide
	Inhibitor Inhibitor
	Additives []Additive // still in the loop, beyond those two
}

// CheckCleaning returns every rule that a way of cleaning breaks; [Judge] makes one verdict of them. Agents that are none, and
// [NoMaterial] beside a material, are an [*InvalidError].
func CheckCleaning(r CleaningRequest) ([]Reason, error) {
	for _, a := range r.Agents {
		if !slices.Contains(Agents(), a) {
			_, err := ParseAgent(string(a))
			return nil, err
		}
	}
	if len(r.Materials) > 1 && slices.Contains(r.Materials, NoMaterial) {
		return nil, &InvalidError{"material", string(NoMaterial), "either none or what it wets, not both"}
	}
	f := &facts{metals: r.Metals, materials: r.Materials, base: r.Fluid, biocide: r.Biocide, inhibitor: r.Inhibitor, additives: Contents{Additives: r.Additives}.families(), cleaning: &r}
	return append(f.fire(cleaningRules()), meetings(f.met())...), nil
}

// CleaningCautions returns what to mind with the agents: what each is and does as supplied, then what holds for all cleaning.
func CleaningCautions(agents []Agent) []Caution {
	var out []Caution
	for _, c := range TaskCautions(TaskClean) {
		if c.Substance != alcoholSubstance || slices.Contains(agents, Alcohol) {
			out = append(out, c)
		}
	}
	names := map[Agent]string{
		Acid: "acid", OrganicAcid: "acid", Alkali: "alkali", Ammonia: "ammonia", Acetone: "acetone",
		Bleach: "oxidising biocide", PoolChlorine: "oxidising biocide", Peroxide: "oxidising biocide",
	}
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

// RinseEnd is when nothing is left to rinse out: at most 1.1 times the conductivity of the water that goes in, and 5 µS/cm (common
// practice, no source).
const RinseEnd = "conducts no more than what goes in, a tenth and 5 µS/cm on top"

// cleaningRules say what must not be cleaned with what.
func cleaningRules() []Rule {
	return []Rule{
		{
			ID: "cleaning-wetted", When: "it is not said what metals the agent wets", Verdict: Care,
			Text:   "say what is wetted: what an agent does depends on it, and a loop whose metals are not known takes water only.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return f.cleaning != nil && len(f.cleaning.Agents) > 0 && len(f.metals) == 0
			},
		},
		{
			ID: "cleaning-materials", When: "it is not said what seals and plastics the agent wets", Verdict: Care,
			Text:   "say what seals and plastics are wetted, or that there are none, as of a bare plate: what an agent does to them depends on it.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return f.cleaning != nil && len(f.cleaning.Agents) > 0 && len(f.materials) == 0
			},
		},
		{
			ID: "alcohol-ignition", When: "alcohol or acetone near flame, spark, heat or a running machine", Verdict: Stop,
			Text:   "isopropanol flashes at 12 °C, acetone far below 0 °C: their vapour burns at room temperature. No ignition near, fresh air, machine unplugged.",
			Source: "safety data sheet: H225, flash point 11.7 °C", Grade: Maker,
			applies: func(f *facts) bool { return f.cleans(Alcohol, Acetone) && (f.cleaning.Ignition || f.cleaning.Hot) },
		},
		{
			ID: "hot-cleaning", When: "acid, alkali or bleach above 40 °C", Verdict: Care,
			Text:   "heat speeds corrosion and drives off vapour: clean cold, with goggles.",
			Source: "common practice, no source", Grade: Practice,
			applies: func(f *facts) bool {
				return f.cleaning != nil && f.cleaning.Hot && f.cleans(Acid, OrganicAcid, Alkali, Bleach, PoolChlorine, Ammonia, Peroxide)
			},
		},
		{
			ID: "cleaning-eyes", When: "any cleaning agent", Verdict: Go,
			Text:   "goggles and gloves; rinse until what comes out has no colour and " + RinseEnd + "; then rinse once more with dilution water.",
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
		{"volume", float64(volume), 1e-6, 1e5, "l", "more than nothing and at most 100000 l"},
		{"left", left.Millilitres(), 1e-6, 0.999 * volume.Millilitres(), "ml", "more than nothing and less than the loop's volume"},
		{"residue", 100 * residue, 1e-7, 100, "%", "a share above 0 and up to 100 %"},
	}); err != nil {
		return 0, 0, err
	}
	ratio := float64(left) / float64(volume)
	n = max(0, int(math.Ceil(math.Log(residue)/math.Log(ratio)-1e-9)))
	return n, math.Pow(ratio, float64(n)), nil
}
