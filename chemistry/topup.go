// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"slices"
	"strings"
)

// Defaults of a top-up check.
const (
	DefaultAt      Celsius = 20 // the liquid when it is topped up
	DefaultHottest Celsius = 60 // the coolant at its hottest; common practice, no source
)

// maxLiquids bounds how many liquids at hand are weighed against each other: every subset of them is tried.
const maxLiquids = 8

// TopUpRequest asks whether and what to add to a loop.
type TopUpRequest struct {
	Fluid           Fluid         // in the loop; "": unknown
	Mass            *MassFraction // glycol in the loop, recorded or just measured; nil: unknown
	MassUncertainty MassFraction  // k = 2
	FilledMass      *MassFraction // glycol at the last fill; nil: not recorded
	Inhibitor       Inhibitor
	Biocide         Biocide
	Additives       []Additive  // beyond inhibitor and biocide
	Doses           []DoseLevel // what is left of additives that a label doses
	PH              *float64    // of the liquid in the loop; nil: not measured
	Metals          []Metal     // wetted
	Materials       []Material  // seals and plastics that are wetted
	WithinReach     bool        // animals or children can get at the machine

	Holds            Litre // liquid in the loop now
	HoldsUncertainty Litre // k = 2
	Room             Litre // free volume up to the brim or the mark
	Sealed           bool  // no way out for liquid that expands
	At               *Celsius
	Hottest          *Celsius

	Protect *Celsius // coldest wetted wall; nil: not known, the strength the loop was filled with is kept
	NoFrost bool     // somebody said that nothing in the loop can freeze
	Margin  *CelsiusDelta

	With []Liquid // at hand
	Step Kilogram // of the scale; 0: DefaultStep
}

// Liquid is a liquid at hand.
type Liquid struct {
	Name  string       // as it is called in the steps
	Fluid Fluid        // "": a glycol not named, for a loop that takes neither
	Mass  MassFraction // glycol in it, 0 to 1
	// MassUncertainty is how far it may be off, k = 2; of a Product its label says it.
	MassUncertainty MassFraction
	Inhibitor       Inhibitor
	Biocide         Biocide
	Tap             bool              // tap or well water, not dilution water
	Available       Litre             // 0: as much as needed
	Density         *KilogramPerLitre // by its label; nil: LiquidDensity
	Product         *Product          // the neat product, by its own label; it stands for Fluid, Mass, its uncertainty and Density

	guess bool // its label says no freeze point
}

// ParseLiquid reads a liquid at hand for a loop that holds fluid: "water" (dilution water), "tap" (tap water), "deionised",
// "concentrate:95%", "premix:40%" (glycol mass % of the loop's fluid; "40vol%" for volume % before mixing), or with the glycol named "eg:95%", "pg:40%"; each may say
// its inhibitor and how much of it there is: "premix:40%:oat:200ml", "water:1l". Anything else is an [*InvalidError]. For a loop whose fluid is not
// known, or holds no glycol, a concentrate or premix is of a glycol not named: the rules stop it whichever it is.
func ParseLiquid(s string, fluid Fluid) (Liquid, error) {
	return parseLiquid(s, fluid, false)
}

// ParseLiquidByVolume is [ParseLiquid] where a bare % is volume % before mixing at 20 °C; "40 mass%" is mass % here too.
func ParseLiquidByVolume(s string, fluid Fluid) (Liquid, error) { return parseLiquid(s, fluid, true) }

func parseLiquid(s string, fluid Fluid, byVolume bool) (Liquid, error) {
	const want = "a liquid such as water, concentrate:95% or premix:40%:200ml"
	name, rest, _ := strings.Cut(s, ":")
	l := Liquid{Name: strings.ToLower(strings.TrimSpace(name)), Fluid: fluid}
	switch l.Name {
	case PartConcentrate, PartPremix:
		if !fluid.IsGlycol() {
			l.Fluid = ""
		}
	case "water", "dilution water", "make-up water":
		l = Liquid{Name: PartDilutionWater, Fluid: TreatedWater, Inhibitor: NoInhibitor, Biocide: NoBiocide}
	case "tap", "tap water":
		l = Liquid{Name: "tap water", Fluid: TreatedWater, Inhibitor: NoInhibitor, Biocide: NoBiocide, Tap: true}
	default:
		f, err := ParseFluid(l.Name)
		if err != nil {
			return Liquid{}, invalid(s, want)
		}
		l.Fluid, l.Name = f, f.Name()
	}
	for part := range strings.SplitSeq(rest, ":") {
		var err error
		switch {
		case part == "":
		case strings.Contains(part, "%"):
			l.Mass, err = l.strength(part, byVolume)
		default:
			if i, no := ParseInhibitor(part); no == nil {
				l.Inhibitor = i
			} else if l.Available, err = ParseLitre(part); l.Available == 0 && err == nil {
				err = invalid(part, "left out where there is none of it")
			}
		}
		if err != nil {
			return Liquid{}, InField(err, "liquid "+s)
		}
	}
	switch {
	case l.glycol() && l.Mass == 0:
		return Liquid{}, invalid(s, want+"; this has no strength")
	case l.Mass > 0 && !l.glycol():
		return Liquid{}, invalid(s, want+"; "+l.Fluid.Name()+" holds no glycol")
	}
	return l, nil
}

// strength reads its glycol in per cent: by mass or by volume as it says, else by volume where byVolume is set. Of a glycol that
// is not named the figure stands for either: it goes into no loop, however strong.
func (l Liquid) strength(s string, byVolume bool) (MassFraction, error) {
	switch lower := strings.ToLower(s); {
	case strings.Contains(lower, "vol"):
		byVolume = true
	case strings.Contains(lower, "mass"):
		byVolume = false
	}
	if !byVolume {
		return ParseMassPercent(s)
	}
	v, err := ParseVolumePercent(s)
	if err != nil || !l.Fluid.IsGlycol() {
		return MassFraction(v), err
	}
	return MassFractionOf(l.Fluid, v)
}

// glycol reports whether the liquid is made with a glycol, named or not.
func (l Liquid) glycol() bool { return l.Fluid == "" || l.Fluid.IsGlycol() }

// TopUpVerdict is the answer to a [TopUpRequest].
type TopUpVerdict struct {
	Verdict   Verdict
	Reasons   []Reason
	Before    FractionState // zero where the strength is unknown
	After     FractionState // as Before where the liquids do not belong together
	Doses     []DoseLevel   // after
	Expansion Litre         // of what is in the loop now, from At to Hottest
	FillTo    Litre         // volume in the loop after
	Steps     []Step        // empty when the verdict is stop
	Cautions  []Caution
	Sources   []string
}

// CheckTopUp answers a [TopUpRequest]: the verdict with every rule that fired, and the steps that fill the room and reach the
// wanted strength, the least drained first, then the fewest pours, then nearest to the strength of the last fill. In a
// sealed loop the room that the liquid needs to expand is left free. The strength's uncertainty is carried to the freeze
// point (GUM, first order) and the verdict counts its warm end. Impossible input is an [*InvalidError], a strength or
// temperature outside the tables a [*RangeError].
func CheckTopUp(r TopUpRequest) (TopUpVerdict, error) {
	r = r.withDefaults()
	if err := r.pourByLabel(); err != nil {
		return TopUpVerdict{}, err
	}
	if err := r.validate(); err != nil {
		return TopUpVerdict{}, err
	}
	v := TopUpVerdict{Cautions: Cautions(Contents{Fluid: r.Fluid, Mass: r.Mass, Inhibitor: r.Inhibitor, Biocide: r.Biocide, Additives: r.Additives})}
	f := r.facts()
	if r.Fluid == "" || f.noMass {
		v.Reasons = f.reasons()
		v.Verdict = Judge(v.Reasons)
		return v, nil
	}
	if f.clash() {
		r.With = nil // none of them is poured
	}
	p, err := newPlanner(r)
	if err != nil {
		return TopUpVerdict{}, err
	}
	f.expansion = p.expansion
	v.Expansion, v.Sources = p.expansion, mixtureSources(r.Fluid)
	v.Before = p.state(p.strength, r.MassUncertainty)
	v.After, v.FillTo, v.Doses = v.Before, r.Holds, r.Doses
	if !f.clash() {
		plan := p.best()
		v.After = p.state(plan.strength, p.uncertaintyAfter(plan))
		v.FillTo = plan.volume
		v.Doses = p.doses(plan)
		v.Steps = p.steps(plan)
		if p.poursByGuess(plan) {
			v.Sources = append(v.Sources, sourceStrong)
		}
		for i, m := range plan.added {
			l := p.liquids[i]
			switch {
			case m > 0 && l.Product != nil:
				v.Sources = append(v.Sources, l.Product.source(l.guess))
			case m > 0 && l.Mass > 0:
				v.Sources = append(v.Sources, l.Name+": "+l.Mass.String()+" glycol, as given (label)")
			}
		}
		f.after, f.glycol, f.unreached = v.After, r.Fluid.IsGlycol() && plan.strength > 0, plan.missed > 0
		f.doses, f.target = v.Doses, p.target
		f.badEnd = v.After.Freeze.Stated.Add(v.After.Freeze.Uncertainty)
		f.planned = true
		f.unfilled, f.neat, f.drained = p.unfilled(plan), p.neat(plan), p.volumeOf(plan.drained)
	}
	v.Reasons = f.reasons()
	if v.Verdict = Judge(v.Reasons); v.Verdict == Stop {
		v.Steps = nil
	}
	return v, nil
}

// pourByLabel lets products at hand count as their labels say at the strength wanted in the loop.
func (r *TopUpRequest) pourByLabel() error {
	for i, l := range r.With {
		if l.Product == nil {
			continue
		}
		if r.Mass == nil || r.Fluid != l.Product.Base {
			r.With[i].Fluid, r.With[i].Mass = l.Product.Base, 1
			continue
		}
		x := *r.Mass
		if r.Protect != nil {
			wanted, err := r.against(doubt{read: r.MassUncertainty})
			if err != nil {
				return err
			}
			x = max(x, wanted)
		}
		s, err := l.Product.strengthOf(x)
		if err != nil {
			return err
		}
		c, neat, err := l.Product.Concentrate(s)
		if err != nil {
			return err
		}
		st, _ := l.Product.At(s) // as Concentrate found it
		r.With[i].Fluid, r.With[i].Mass, r.With[i].Density = l.Product.Base, c, &neat
		r.With[i].MassUncertainty, r.With[i].guess = c*MassFraction(st.relative(l.Product.Base)), st.Guess
	}
	return nil
}

// against is the least strength that the wall asks for. Where the strength is so unsure that none is enough the frost rule says so.
func (r TopUpRequest) against(d doubt) (MassFraction, error) {
	if x, err := strengthAgainst(r.Fluid, *r.Protect, *r.Margin, d); err == nil {
		return x, nil
	}
	return strengthAgainst(r.Fluid, *r.Protect, *r.Margin, doubt{})
}

func (r TopUpRequest) withDefaults() TopUpRequest {
	r.With = slices.Clone(r.With)
	if r.At == nil {
		r.At = new(DefaultAt)
	}
	if r.Hottest == nil {
		r.Hottest = new(max(DefaultHottest, *r.At))
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
		for _, x := range []*MassFraction{r.Mass, r.FilledMass} {
			if x != nil {
				if err := checkFraction(r.Fluid, *x); err != nil {
					return err
				}
			}
		}
	}
	checks := []bound{
		{"strength uncertainty", r.MassUncertainty.Percent(), 0, 50, "mass %", "0 to 50 mass %"},
		{"holds", float64(r.Holds), 1e-6, 1e5, "l", "more than nothing and at most 100000 l"},
		{"holds uncertainty", float64(r.HoldsUncertainty), 0, float64(r.Holds), "l", "between nothing and what the loop holds"},
		{"room", float64(r.Room), 0, 20 * max(float64(r.Holds), 1e-3), "l", "at most twenty times what the loop holds: is the unit right?"},
		{"margin", float64(*r.Margin), 0, 100, "K", "0 to 100 K"},
		{"step", float64(r.Step), 1e-6, 10, "kg", "0.001 g to 10 kg"},
		{"temperature", float64(*r.At), -100, float64(MaxTemperature), "°C", "at most 100 °C"},
		{"hottest coolant temperature", float64(*r.Hottest), float64(*r.At), float64(MaxTemperature), "°C", "between the temperature now and 100 °C"},
		{"liquids at hand", float64(len(r.With)), 0, maxLiquids, "", "at most 8 liquids"},
	}
	if r.PH != nil {
		checks = append(checks, bound{"pH", *r.PH, 0, 14, "", "0 to 14"})
	}
	if r.Protect != nil {
		checks = append(checks, bound{"protect", float64(*r.Protect), -273.15, 1000, "°C", "a temperature of a wall"})
	}
	for _, l := range r.With {
		switch {
		case l.Fluid != "":
			if err := checkAnyFraction(l.Fluid, float64(l.Mass), l.Name); err != nil {
				return err
			}
		case r.Fluid.IsGlycol():
			return &InvalidError{l.Name, "", "of which glycol? say eg or pg"}
		default:
			checks = append(checks, bound{l.Name, l.Mass.Percent(), 0, 100, "mass %", "0 to 100 mass % glycol"})
		}
		checks = append(checks, bound{l.Name + " available", float64(l.Available), 0, 1e5, "l", "0 to 100000 l"})
		if l.Density != nil {
			checks = append(checks, bound{l.Name + " density", float64(*l.Density), 0.9, 1.3, "kg/l", "0.9 to 1.3 kg/l"})
		}
	}
	for _, d := range r.Doses {
		checks = append(checks,
			bound{d.Name + " level", d.Level, 0, 1000, "", "a share of the label's dose, 1 is the full dose"},
			bound{d.Name + " spent below", d.SpentBelow, 0, 1, "", "a share of the label's dose, 0 to 1"})
	}
	return checkBounds(checks)
}

// bound is one number and what it must lie between.
type bound struct {
	field     string
	value     float64
	low, high float64
	unit      string // of the value; "" for a bare number
	want      string
}

// checkBounds returns an [*InvalidError] for the first number that is out of its bounds or not a number.
func checkBounds(bounds []bound) error {
	for _, b := range bounds {
		if !(b.value >= b.low && b.value <= b.high) {
			return &InvalidError{b.field, strings.TrimSpace(decimal(b.value) + " " + b.unit), "must be " + b.want}
		}
	}
	return nil
}

// facts collects what the rules look at before anything is planned.
func (r TopUpRequest) facts() *facts {
	f := &facts{
		noMass: r.Fluid.IsGlycol() && r.Mass == nil, unknown: r.Fluid == "",
		base: r.Fluid, metals: r.Metals, noMetals: len(r.Metals) == 0, sealed: r.Sealed, room: r.Room, wall: r.Protect, noFrost: r.NoFrost,
		inhibitor: r.Inhibitor, biocide: r.Biocide, pH: r.PH, materials: r.Materials,
		additives: Contents{Additives: r.Additives}.families(), withinReach: r.WithinReach, with: r.With,
		guess: slices.ContainsFunc(r.With, func(l Liquid) bool { return l.guess }),
	}
	if r.Fluid == DeionisedWater && f.inhibitor == "" {
		f.inhibitor = NoInhibitor
	}
	// Stronger than at the fill by more than the reading can be off, and by at least one mass percent.
	if r.Mass != nil && r.FilledMass != nil {
		f.evaporated = *r.Mass-*r.FilledMass > max(0.01, r.MassUncertainty)
	}
	return f
}

// state is a strength with the freeze point's interval widened by the uncertainty of the strength.
func (p *planner) state(x, u MassFraction) FractionState {
	return uncertain(p.r.Fluid, x, u)
}

// doses returns what is left of dosed additives after a plan. What is added is counted as free of them: a label's dose is known
// only for what the technician doses.
func (p *planner) doses(pl plan) []DoseLevel {
	kept := float64(p.r.Holds) * (1 - pl.drained/p.mass) / float64(pl.volume)
	out := make([]DoseLevel, len(p.r.Doses))
	for i, l := range p.r.Doses {
		out[i] = l.Diluted(kept)
	}
	return out
}

// volumeOf is the volume of a mass of what is in the loop now.
func (p *planner) volumeOf(mass float64) Litre {
	return density(p.r.Fluid, p.strength, *p.r.At).Volume(Kilogram(mass))
}

// unfilled returns the room that a plan leaves free, where it is more than rounding and a hundredth of the room.
func (p *planner) unfilled(pl plan) Litre {
	if free := p.full - pl.volume; len(p.liquids) > 0 && free > max(p.r.Room/100, Litre(4*p.r.Step)) {
		return free
	}
	return 0
}

// concentrate reports whether a plan pours a liquid that is stronger than any coolant.
func (p *planner) concentrate(pl plan) bool {
	for i, m := range pl.added {
		if m > 0 && p.liquids[i].Mass > MaxMassFraction {
			return true
		}
	}
	return false
}

// neat reports whether a plan pours concentrate alone, and more of it than a hundredth of what is in the loop.
func (p *planner) neat(pl plan) bool {
	return p.concentrate(pl) && pl.pours() == 1 && pl.mass-(p.mass-pl.drained) > p.mass/100
}

// poursByGuess reports whether a plan pours a concentrate whose density no label gave, so that its volume is an estimate.
func (p *planner) poursByGuess(pl plan) bool {
	for i, m := range pl.added {
		if l := p.liquids[i]; m > 0 && l.Liquid.Density == nil && l.Mass > MaxMassFraction {
			return true
		}
	}
	return false
}

// steps says in words what a plan does.
func (p *planner) steps(pl plan) []Step {
	var steps []Step
	if pl.drained > 0 {
		steps = append(steps, Step{"drain", p.r.Fluid.Name() + " from the loop", p.volumeOf(pl.drained), Kilogram(pl.drained)})
	}
	if pl.pours() > 1 && p.concentrate(pl) {
		steps = append(steps, Step{Do: "thin first", What: "stir the concentrate into the other liquid outside the loop, then pour the mix in slowly"})
	}
	for i, m := range pl.added {
		if m > 0 {
			l := p.liquids[i]
			steps = append(steps, Step{"add", l.Name, l.density.Volume(Kilogram(m)), Kilogram(m)})
		}
	}
	if len(steps) == 0 {
		return nil
	}
	steps = append(steps, Step{Do: "run", What: "the pump, bleed, look for leaks"})
	if p.r.Fluid.IsGlycol() {
		steps = append(steps, Step{Do: "check", What: "the strength with a refractometer once it is mixed"})
	}
	return slices.Clip(steps)
}
