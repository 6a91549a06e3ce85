// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"slices"
)

// mixer holds what stays the same while a mix is worked out.
type mixer struct {
	r           MixRequest
	left        Kilogram // mass left in the loop
	concentrate KilogramPerLitre
	premix      KilogramPerLitre
	water       KilogramPerLitre
}

func (r MixRequest) mixer() (*mixer, error) {
	m := &mixer{r: r}
	var err error
	if m.water, err = Density(TreatedWater, 0, r.Bench); err != nil {
		return nil, err
	}
	left, err := Density(r.Fluid, r.LeftMass, r.Bench)
	if err != nil {
		return nil, err
	}
	m.left = left.Mass(r.Left)
	if r.Premix > 0 {
		if m.premix, err = Density(r.Fluid, r.Premix, r.Bench); err != nil {
			return nil, err
		}
	}
	if r.ConcentrateDensity != nil {
		if m.concentrate = *r.ConcentrateDensity; !(m.concentrate >= 0.9 && m.concentrate <= 1.3) {
			return nil, &InvalidError{"concentrate density", decimal(float64(m.concentrate)), "must be 0.9 to 1.3 kg/l"}
		}
		if err := checkLabelDensity(r.Fluid, r.Concentrate, m.concentrate, r.Bench); err != nil {
			return nil, err
		}
	} else if r.Concentrate > 0 {
		if m.concentrate, err = LiquidDensity(r.Fluid, r.Concentrate, r.Bench); err != nil {
			return nil, err
		}
	}
	return m, nil
}

// poured returns the mass of the mix when its strength is x: Make at Bench. Beyond the tables, which an infeasible wish may
// reach, the density of the nearest strength serves.
func (m *mixer) poured(x MassFraction) Kilogram {
	return density(m.r.Fluid, min(max(x, 0), MaxMassFraction), m.r.Bench).Mass(m.r.Make)
}

// compensate returns the strength to pour so that the loop, with what was left in it, holds the target.
func (m *mixer) compensate(target MassFraction) MassFraction {
	if m.left == 0 {
		return target
	}
	surplus := float64(m.left) * float64(target-m.r.LeftMass)
	return MassFraction(solve(func(x float64) float64 {
		return (x-float64(target))*float64(m.poured(MassFraction(x))) - surplus
	}, -10, 10))
}

// inLoop returns the strength of mass p of strength x together with what was left in the loop.
func (m *mixer) inLoop(x MassFraction, p Kilogram) MassFraction {
	glycol := float64(x)*float64(p) + float64(m.r.LeftMass)*float64(m.left)
	return MassFraction(glycol / float64(p+m.left))
}

func (m *mixer) infeasible(target, feasible MassFraction) error {
	reason := "the strongest liquid at hand is " + max(m.r.Concentrate, m.r.Premix).String() + " glycol"
	if feasible == MaxMassFraction {
		reason = "the mix to pour would have to be above 60 mass %, where the tables end"
	}
	if feasible == 0 && target < m.r.LeftMass {
		reason = "what was left in the loop is too strong to be thinned that far"
	}
	if m.left > 0 {
		reason += ", with " + m.r.Left.String() + " left in the loop"
	}
	return &InfeasibleError{
		Reason:  reason,
		Nearest: m.result(target, feasible),
		cause:   &InvalidError{"target", target.String(), reason},
	}
}

// result rounds to the scale and works everything out again from the rounded grams.
func (m *mixer) result(target, wanted MassFraction) MixResult {
	parts := m.parts(wanted)
	var total Part
	var glycol, volumes float64
	for _, p := range parts {
		total.Mass += p.Mass
		volumes += float64(p.Volume)
		glycol += float64(p.Mass) * float64(m.strength(p.Name))
	}
	poured := wanted
	if total.Mass > 0 {
		poured = MassFraction(glycol / float64(total.Mass))
	}
	poured = min(poured, MaxMassFraction) // rounding to grams may lift it a trace above the tables
	total.Name = "mix"
	total.Volume = density(m.r.Fluid, poured, m.r.Bench).Volume(total.Mass)
	res := MixResult{
		Target: state(m.r.Fluid, target),
		Poured: state(m.r.Fluid, poured),
		Result: state(m.r.Fluid, m.inLoop(poured, total.Mass)),
		Parts:  parts, Total: total, Contraction: Litre(volumes) - total.Volume,
		Cautions: Cautions(Contents{Fluid: m.r.Fluid, Mass: &poured}),
		Sources:  m.sources(),
	}
	res.Steps = m.steps(res)
	res.Uncompensated = state(m.r.Fluid, m.inLoop(target, m.poured(target)))
	res.MassUncertainty = m.uncertainty(res)
	res.Result = uncertain(m.r.Fluid, res.Result.Mass, res.MassUncertainty)
	res.Warnings = m.warnings(res, m.coarse(total.Mass))
	return res
}

// warnings judges the mix in the loop by the rules that a top-up of it would meet.
func (m *mixer) warnings(res MixResult, coarse bool) []Reason {
	f := &facts{base: m.r.Fluid, after: res.Result, glycol: m.r.Fluid.IsGlycol() && res.Result.Mass > 0, coarse: coarse, wall: m.r.Protect, planned: m.r.Protect != nil, wished: res.Target.Mass > 0, bulk: m.bulk(res)}
	f.badEnd = res.Result.Freeze.Stated.Add(res.Result.Freeze.Uncertainty)
	if m.r.Protect != nil {
		f.target = m.r.Protect.Add(-*m.r.Margin)
	}
	return f.fire(slices.Concat(strengthRules(), frostRules()))
}

// bulk reports whether concentrate is thinned for a system that nobody mixes for at a bench. How big that is is a judgement, no source.
func (m *mixer) bulk(res MixResult) bool {
	const big Litre = 100
	return m.r.Concentrate > MaxMassFraction && m.r.Make >= big && res.Parts[0].Name == PartConcentrate
}

// coarse reports whether rounding to the scale alone may shift the strength by more than half a mass percent.
func (m *mixer) coarse(total Kilogram) bool {
	return m.r.Fluid.IsGlycol() && m.r.Step/2 > 0.005*total
}

func (m *mixer) strength(part string) MassFraction {
	switch part {
	case PartConcentrate:
		return m.r.Concentrate
	case PartPremix:
		return m.r.Premix
	}
	return 0
}

// parts splits a mix of strength x: as much premix as goes in, concentrate for what is missing, water for the rest.
func (m *mixer) parts(x MassFraction) []Part {
	total := float64(m.poured(x))
	glycol := total * float64(x)
	c, p := float64(m.r.Concentrate), float64(m.r.Premix)
	var premix float64
	if p > 0 {
		premix = total
		if float64(x) < p {
			premix = glycol / p
		} else if c > p {
			premix = total * (c - float64(x)) / (c - p)
		}
		if m.r.PremixAvailable > 0 {
			premix = min(premix, float64(m.premix.Mass(m.r.PremixAvailable)))
		}
	}
	var concentrate float64
	if c > 0 {
		concentrate = max(0, glycol-premix*p) / c
	}
	var parts []Part
	// Rounding leans to the strong side: what is stronger than the mix is rounded up, what is weaker down.
	add := func(name string, mass float64, d KilogramPerLitre) {
		steps := mass / float64(m.r.Step)
		switch s := m.strength(name); {
		case s > x:
			steps = math.Ceil(steps - 1e-6)
		case s < x:
			steps = math.Floor(steps + 1e-6)
		default:
			steps = math.Round(steps)
		}
		if rounded := Kilogram(steps * float64(m.r.Step)); rounded > 0 {
			parts = append(parts, Part{name, rounded, d.Volume(rounded)})
		}
	}
	add(PartConcentrate, concentrate, m.concentrate)
	add(PartPremix, premix, m.premix)
	add(PartDilutionWater, total-premix-concentrate, m.water)
	return parts
}

// uncertainty joins (GUM, first order, k = 2) what the inputs add to the strength.
func (m *mixer) uncertainty(res MixResult) MassFraction {
	loop := float64(res.Total.Mass + m.left)
	var concentrate, premix float64
	for _, p := range res.Parts {
		switch p.Name {
		case PartConcentrate:
			concentrate = float64(p.Mass)
		case PartPremix:
			premix = float64(p.Mass)
		}
	}
	fromStrength := math.Hypot(concentrate/loop*float64(m.r.ConcentrateUncertainty), premix/loop*float64(m.r.PremixUncertainty))
	fromLeft := float64(m.r.LeftMass-res.Result.Mass) / loop * float64(m.r.LeftUncertainty) * float64(m.water)
	return MassFraction(math.Hypot(fromStrength, fromLeft))
}

// steps says in words how the parts become the mix; what is poured may be stronger than what the loop then holds.
func (m *mixer) steps(res MixResult) []Step {
	parts := res.Parts
	steps := []Step{{Do: "take", What: "a clean, dry container"}}
	if m.bulk(res) {
		steps[0].What = "a clean tank outside the system, or several batches in these parts"
	}
	// Water first and concentrate into it: additives drop out where they meet too little water.
	for i := len(parts) - 1; i >= 0; i-- {
		do := "weigh and stir in"
		if i == len(parts)-1 {
			do = "weigh"
		}
		steps = append(steps, Step{Do: do, What: parts[i].Name, Volume: parts[i].Volume, Mass: parts[i].Mass})
	}
	switch m.r.Fluid {
	case DeionisedWater:
		return append(steps,
			Step{Do: "add", What: "nothing else: conductivity must stay low"},
			Step{Do: "label", What: "the container: fluid, date; never store or ship it near freezing"})
	case TreatedWater:
		return append(steps,
			Step{Do: "add", What: "inhibitor and biocide as their labels ask, one at a time; never concentrate into concentrate"},
			Step{Do: "wait", What: "until it is free of bubbles; do not fill it if it is hazy or flaky"},
			Step{Do: "label", What: "the container: fluid, additives, date, lot; never store or ship it near freezing"})
	}
	strength, scale := res.Poured.Mass.String(), "with a refractometer at room temperature, on the scale of this glycol"
	if b := m.r.bottle; b != nil {
		if s, err := b.strengthOf(res.Poured.Mass); err == nil {
			strength, scale = s.String()+" of "+b.Name, "by the lines of its label"
		}
	}
	return append(steps,
		Step{Do: "add", What: "additives only as the label asks, one at a time into the thinned mix; never concentrate into concentrate"},
		Step{Do: "wait", What: "until it is free of bubbles; do not fill it if it is hazy or flaky"},
		Step{Do: "check", What: "that it is " + strength + ", " + scale},
		Step{Do: "label", What: "the container: fluid, " + strength + ", date, lot"})
}

func (m *mixer) sources() []string {
	s := mixtureSources(m.r.Fluid)
	if b := m.r.bottle; b != nil {
		_, weighs := b.density20()
		return append(s, b.Name+": counts as "+m.r.Concentrate.String()+" glycol in this mix, so that it freezes where its label says; "+weighs)
	}
	for _, l := range []struct {
		name string
		x    MassFraction
	}{{PartConcentrate, m.r.Concentrate}, {PartPremix, m.r.Premix}} {
		if l.x > 0 {
			s = append(s, l.name+": "+l.x.String()+" ("+volumeFraction(m.r.Fluid, l.x).String()+") glycol, as given (label)")
		}
	}
	if m.r.Concentrate > MaxMassFraction {
		if m.r.ConcentrateDensity != nil {
			s = append(s, "concentrate density: as given (label)")
		} else {
			s = append(s, sourceStrong)
		}
	}
	return s
}

func state(f Fluid, x MassFraction) FractionState {
	return FractionState{x, volumeFraction(f, x), freeze(f, x)}
}
