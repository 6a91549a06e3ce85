// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"slices"
	"strings"
)

// Defaults of a top-up check.
const (
	DefaultAt      Celsius = 20 // the liquid when it is topped up
	DefaultHottest Celsius = 60 // the coolant at its hottest; common practice, no source
)

// TopUpRequest asks whether and what to add to a loop.
type TopUpRequest struct {
	Fluid           Fluid         // in the loop; "": unknown
	Mass            *MassFraction // glycol in the loop, recorded or just measured; nil: unknown
	MassUncertainty MassFraction  // k = 2
	FilledMass      *MassFraction // glycol at the last fill; nil: not recorded
	Inhibitor       Inhibitor
	Biocide         Biocide
	Metals          []Metal // wetted

	Holds            Litre // liquid in the loop now
	HoldsUncertainty Litre // k = 2
	Room             Litre // free volume up to the brim or the mark
	Sealed           bool  // no way out for liquid that expands
	At               *Celsius
	Hottest          *Celsius

	Protect *Celsius // coldest wetted wall; nil: keep the strength the loop was filled with
	Margin  *CelsiusDelta

	With []Liquid // at hand
	Step Kilogram // of the scale; 0: DefaultStep
}

// Liquid is a liquid at hand.
type Liquid struct {
	Name      string // as it is called in the steps
	Fluid     Fluid
	Mass      MassFraction // glycol in it, 0 to 1
	Inhibitor Inhibitor
	Biocide   Biocide
	Available Litre             // 0: as much as needed
	Density   *KilogramPerLitre // by its label; nil: LiquidDensity
}

// ParseLiquid reads a liquid at hand for a loop that holds fluid: "water", "deionised", "concentrate:95%", "premix:40%" (glycol
// mass % of the loop's fluid), or with the glycol named "eg:95%", "pg:40%". Anything else is an [*InvalidError].
func ParseLiquid(s string, fluid Fluid) (Liquid, error) {
	name, strength, hasStrength := strings.Cut(s, ":")
	name = strings.ToLower(strings.TrimSpace(name))
	l := Liquid{Name: name, Fluid: fluid}
	const want = "say a liquid such as water, concentrate:95% or premix:40%"
	switch name {
	case "concentrate", "premix":
	case "water", "dilution water", "make-up water":
		l = Liquid{Name: PartDilutionWater, Fluid: TreatedWater, Inhibitor: NoInhibitor, Biocide: NoBiocide}
	default:
		f, err := ParseFluid(name)
		if err != nil {
			return Liquid{}, invalid(s, want)
		}
		l.Fluid, l.Name = f, f.Name()
	}
	if !hasStrength {
		if l.Fluid.IsGlycol() || l.Fluid == "" {
			return Liquid{}, invalid(s, "has no strength; "+want)
		}
		return l, nil
	}
	x, err := ParseMassPercent(strength)
	if err != nil {
		return Liquid{}, err
	}
	if x > 0 && !l.Fluid.IsGlycol() {
		return Liquid{}, invalid(s, l.Fluid.Name()+" holds no glycol; "+want)
	}
	l.Mass = x
	return l, nil
}

// TopUpVerdict is the answer to a [TopUpRequest].
type TopUpVerdict struct {
	Verdict       Verdict
	Reasons       []Reason
	Before, After FractionState // zero where the strength is unknown
	Expansion     Litre         // of the full loop from At to Hottest
	Steps         []Step        // empty when the verdict is stop
	Cautions      []Caution
	Sources       []string
}

// CheckTopUp answers a [TopUpRequest]: the verdict with every rule that fired, and the steps that fill the room and reach the
// wanted strength, the least drained first. In a sealed loop the room that the liquid needs to expand is left free. Impossible
// input is an [*InvalidError], a strength or temperature outside the tables a [*RangeError].
func CheckTopUp(r TopUpRequest) (TopUpVerdict, error) {
	r = r.withDefaults()
	if err := r.validate(); err != nil {
		return TopUpVerdict{}, err
	}
	p, err := newPlanner(r)
	if err != nil {
		return TopUpVerdict{}, err
	}
	v := TopUpVerdict{Expansion: p.expansion, Cautions: Cautions(Contents{r.Fluid, r.Mass, r.Inhibitor, r.Biocide}), Sources: propertySources(r.Fluid)}
	f := r.facts()
	f.expansion = p.expansion
	if f.unknown || f.noMass {
		v.Reasons = f.reasons()
		v.Verdict = Judge(v.Reasons)
		return v, nil
	}
	v.Before = p.state(p.strength, r.MassUncertainty)
	plan := p.plan()
	v.After = p.state(plan.strength, r.MassUncertainty*MassFraction(plan.kept))
	f.after, f.glycol, f.unreached = v.After, r.Fluid.IsGlycol() && plan.strength > 0, plan.unreached
	f.target = p.target
	f.badEnd = v.After.Freeze.Stated.Add(v.After.Freeze.Uncertainty)
	v.Reasons = f.reasons()
	v.Verdict = Judge(v.Reasons)
	if v.Verdict != Stop {
		v.Steps = plan.steps
	}
	return v, nil
}

func (r TopUpRequest) withDefaults() TopUpRequest {
	if r.At == nil {
		r.At = new(DefaultAt)
	}
	if r.Hottest == nil {
		r.Hottest = new(DefaultHottest)
	}
	if r.Margin == nil {
		r.Margin = new(DefaultMargin)
	}
	if r.Step == 0 {
		r.Step = DefaultStep
	}
	return r
}

func (r TopUpRequest) validate() error {
	if r.Fluid != "" {
		if err := r.Fluid.check(); err != nil {
			return err
		}
	}
	if r.Mass != nil && r.Fluid != "" {
		if err := checkFraction(r.Fluid, *r.Mass); err != nil {
			return err
		}
	}
	for _, c := range []struct {
		field string
		v     float64
		low   float64
		high  float64
		want  string
	}{
		{"strength uncertainty", float64(r.MassUncertainty), 0, 0.5, "0 to 50 mass %"},
		{"holds", float64(r.Holds), 1e-6, 1e5, "more than nothing and at most 100000 l"},
		{"holds uncertainty", float64(r.HoldsUncertainty), 0, float64(r.Holds), "between nothing and what the loop holds"},
		{"room", float64(r.Room), 0, 1e5, "0 to 100000 l"},
		{"margin", float64(*r.Margin), 0, 100, "0 to 100 K"},
		{"step", float64(r.Step), 1e-6, 10, "0.001 g to 10 kg"},
		{"hottest coolant temperature", float64(*r.Hottest), float64(*r.At), float64(MaxTemperature), "between the temperature now and 100 °C"},
	} {
		if !(c.v >= c.low && c.v <= c.high) {
			return &InvalidError{c.field, decimal(c.v), "must be " + c.want}
		}
	}
	for _, l := range r.With {
		if err := checkAnyFraction(l.Fluid, float64(l.Mass), l.Name); err != nil {
			return err
		}
		if !(l.Available >= 0 && l.Available <= 1e5) {
			return &InvalidError{l.Name, decimal(float64(l.Available)), "must be 0 to 100000 l"}
		}
	}
	return nil
}

// facts collects what the rules look at before anything is planned.
func (r TopUpRequest) facts() *facts {
	f := &facts{
		unknown: r.Fluid == "", noMass: r.Fluid.IsGlycol() && r.Mass == nil,
		metals: r.Metals, sealed: r.Sealed, room: r.Room, wall: r.Protect,
		inhibitors: []Inhibitor{r.Inhibitor}, biocides: []Biocide{r.Biocide},
	}
	if r.Fluid != "" {
		f.fluids = append(f.fluids, r.Fluid)
	}
	for _, l := range r.With {
		f.fluids = append(f.fluids, l.Fluid)
		f.inhibitors = append(f.inhibitors, l.Inhibitor)
		f.biocides = append(f.biocides, l.Biocide)
		if r.Fluid == DeionisedWater && l.Fluid != DeionisedWater {
			f.additive = true
		}
	}
	return f
}

// planner works out what to drain and to add.
type planner struct {
	r         TopUpRequest
	strength  MassFraction // in the loop now
	mass      Kilogram     // in the loop now
	expansion Litre
	full      Litre   // volume to fill to
	target    Celsius // freeze point wanted; 0 where nothing is to be protected
	least     MassFraction
	nominal   MassFraction // strength to aim at
}

func newPlanner(r TopUpRequest) (*planner, error) {
	p := &planner{r: r}
	if r.Mass != nil {
		p.strength = *r.Mass
	}
	if r.Fluid == "" {
		return p, nil
	}
	now, err := Density(r.Fluid, p.strength, *r.At)
	if err != nil {
		return nil, err
	}
	hot, err := Density(r.Fluid, p.strength, *r.Hottest)
	if err != nil {
		return nil, err
	}
	p.mass = now.Mass(r.Holds)
	p.expansion = Litre(float64(r.Holds+r.HoldsUncertainty) * (float64(now)/float64(hot) - 1))
	p.full = r.Holds + r.Room
	if r.Sealed {
		p.full = r.Holds + max(0, r.Room-p.expansion)
	}
	p.nominal = p.strength
	if r.FilledMass != nil {
		p.nominal = *r.FilledMass
	}
	if r.Protect != nil {
		p.target = r.Protect.Add(-*r.Margin)
		if p.least, err = MassFractionForFreezePoint(r.Fluid, p.target); err != nil {
			return nil, err
		}
		p.nominal = p.least
	}
	return p, nil
}

// state is a strength with the freeze point's interval widened by the uncertainty of the strength.
func (p *planner) state(x, u MassFraction) FractionState {
	s := state(p.r.Fluid, x)
	if p.r.Fluid.IsGlycol() {
		s.Freeze.Uncertainty = CelsiusDelta(math.Hypot(float64(s.Freeze.Uncertainty), freezeSlope(p.r.Fluid, x)*float64(u)))
	}
	return s
}

// plan is what to do and what it makes.
type plan struct {
	steps     []Step
	strength  MassFraction
	kept      float64 // share of the old liquid in the mass after
	unreached bool
}

// addition is one liquid and how much of it.
type addition struct {
	liquid Liquid
	mass   float64
}

// plan fills the loop: first without draining with one liquid, then with two; else it drains just enough and fills with the
// strongest.
func (p *planner) plan() plan {
	ls := slices.Clone(p.r.With)
	slices.SortStableFunc(ls, func(a, b Liquid) int { return int(math.Copysign(1, float64(a.Mass-b.Mass))) })
	if p.full <= p.r.Holds || len(ls) == 0 {
		return plan{strength: p.strength, kept: 1, unreached: p.strength < p.least && len(ls) > 0}
	}
	weakest, strongest := ls[0], ls[len(ls)-1]
	low, high := p.filledWith(weakest), p.filledWith(strongest)
	want := min(max(p.nominal, p.least), MaxMassFraction)
	switch {
	case want <= low:
		return p.finish(0, low, addition{weakest, p.toAdd(low, 0)})
	case want <= high:
		total := p.toAdd(want, 0)
		glycol := (float64(p.mass)+total)*float64(want) - float64(p.mass)*float64(p.strength)
		strong := (glycol - total*float64(weakest.Mass)) / float64(strongest.Mass-weakest.Mass)
		return p.finish(0, want, addition{weakest, total - strong}, addition{strongest, strong})
	case strongest.Mass > want:
		after := float64(density(p.r.Fluid, want, *p.r.At).Mass(p.full))
		m, s := float64(p.mass), float64(strongest.Mass)
		drained := (after*float64(want) - m*float64(p.strength) - (after-m)*s) / (s - float64(p.strength))
		return p.finish(drained, want, addition{strongest, after - m + drained})
	}
	out := p.finish(0, high, addition{strongest, p.toAdd(high, 0)})
	out.unreached = high < p.least
	return out
}

// filledWith returns the strength of the loop filled to the mark with one liquid.
func (p *planner) filledWith(l Liquid) MassFraction {
	low, high := min(p.strength, l.Mass), min(max(p.strength, l.Mass), MaxMassFraction)
	if low == high {
		return low
	}
	m := float64(p.mass)
	x := solve(func(x float64) float64 {
		after := float64(density(p.r.Fluid, MassFraction(x), *p.r.At).Mass(p.full))
		return after*x - m*float64(p.strength) - (after-m)*float64(l.Mass)
	}, float64(low), float64(high))
	return MassFraction(x)
}

// toAdd returns the mass that fills the loop to the mark at strength x after draining.
func (p *planner) toAdd(x MassFraction, drained float64) float64 {
	return float64(density(p.r.Fluid, x, *p.r.At).Mass(p.full)) - float64(p.mass) + drained
}

// finish rounds to the scale and works out what the rounded amounts make.
func (p *planner) finish(drained float64, want MassFraction, adds ...addition) plan {
	round := func(m float64) float64 { return math.Round(m/float64(p.r.Step)) * float64(p.r.Step) }
	now := density(p.r.Fluid, p.strength, *p.r.At)
	var out plan
	drained = min(math.Ceil(drained/float64(p.r.Step)-1e-6)*float64(p.r.Step), float64(p.mass))
	old := float64(p.mass) - drained
	mass, glycol := old, old*float64(p.strength)
	if drained > 0 {
		out.steps = append(out.steps, Step{"drain", p.r.Fluid.Name() + " from the loop", now.Volume(Kilogram(drained)), Kilogram(drained)})
	}
	for _, a := range adds {
		m := round(a.mass)
		if m <= 0 {
			continue
		}
		mass += m
		glycol += m * float64(a.liquid.Mass)
		out.steps = append(out.steps, Step{"add", a.liquid.Name, p.densityOf(a.liquid).Volume(Kilogram(m)), Kilogram(m)})
	}
	out.strength, out.kept = want, 0
	if mass > 0 {
		out.strength, out.kept = min(MassFraction(glycol/mass), MaxMassFraction), old/mass
	}
	return out
}

// densityOf returns the density of a liquid at hand. Where the table has none at this temperature the nearest is used: grams
// decide.
func (p *planner) densityOf(l Liquid) KilogramPerLitre {
	if l.Density != nil {
		return *l.Density
	}
	t := min(max(*p.r.At, 0), MaxTemperature)
	d, err := LiquidDensity(l.Fluid, l.Mass, t)
	if err != nil {
		return density(p.r.Fluid, p.strength, *p.r.At)
	}
	return d
}
