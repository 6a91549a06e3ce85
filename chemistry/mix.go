// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import (
	"math"
	"strings"
)

// Defaults of a mix.
const (
	DefaultMargin CelsiusDelta = 5     // below the coldest wetted wall; common practice, no source
	DefaultStep   Kilogram     = 0.001 // what a bench scale reads
)

// MixRequest asks what to pour. Exactly one of Protect, Mass and Volume says what the liquid in the loop is to be.
type MixRequest struct {
	Fluid Fluid

	Protect *Celsius        // coldest wetted wall in use, storage or transport
	Margin  *CelsiusDelta   // freeze point below Protect; nil: DefaultMargin
	Mass    *MassFraction   // wanted fraction, 0 to 0.60
	Volume  *VolumeFraction // wanted fraction before mixing at 20 °C

	Make Litre // volume of the finished mix at Bench

	// Product is a bottle that goes by its own label; it stands for Fluid and the concentrate, and Volume is then its label's.
	Product *Product
	bottle  *Product // the same, where Fluid and the concentrate already stand for it

	Concentrate            MassFraction      // glycol in the concentrate, by its label; 0: no concentrate at hand
	ConcentrateDensity     *KilogramPerLitre // by its label, at Bench; nil: LiquidDensity
	ConcentrateUncertainty MassFraction      // of the strength, k = 2; 0: taken as exact
	Premix                 MassFraction      // glycol in the premix; 0: no premix at hand
	PremixAvailable        Litre             // 0: as much as needed
	PremixUncertainty      MassFraction      // of its strength, k = 2; 0: taken as exact

	Bench Celsius  // temperature of the liquids; 0 to 100 °C
	Step  Kilogram // what the scale reads; 0: DefaultStep

	Left            Litre        // liquid left in the loop after draining, at Bench
	LeftMass        MassFraction // glycol in it; 0: water, as after a rinse
	LeftUncertainty Litre        // k = 2; 0: taken as exact
}

// FractionState is a strength said three ways.
type FractionState struct {
	Mass   MassFraction
	Volume VolumeFraction
	Freeze Freeze
}

// Names of the parts of a mix.
const (
	PartConcentrate   = "concentrate"
	PartPremix        = "premix"
	PartDilutionWater = "dilution water"
)

// Part is one liquid to pour. Its mass decides; the volume is derived from it.
type Part struct {
	Name   string
	Mass   Kilogram
	Volume Litre
}

// Step is one thing to do.
type Step struct {
	Do     string // drain, weigh, add, stir, check, label ...
	What   string // the liquid, or what to look at
	Volume Litre  // 0 where nothing is measured
	Mass   Kilogram
}

// MixResult is what to pour and what it makes.
type MixResult struct {
	Target FractionState // wanted in the loop
	Result FractionState // in the loop: the rounded parts and what was left there
	Poured FractionState // of the rounded parts alone

	MassUncertainty MassFraction // of the result's strength, by what is unsure of the liquids (k = 2)

	Product *ProductState // what the product's label says of the mix; nil without a product

	// Uncompensated is what the loop would hold had the parts been mixed for Target without regard to what was left in it.
	Uncompensated FractionState

	Parts       []Part
	Total       Part  // sum of the parts; its volume is that of the finished mix
	Contraction Litre // volume that vanishes on mixing: sum of part volumes less Total's
	Steps       []Step
	Warnings    []Reason
	Cautions    []Caution
	Sources     []string
}

// InfeasibleError says that a wish cannot be met with what is at hand, and what comes nearest. It unwraps to an
// [*InvalidError].
type InfeasibleError struct {
	Reason  string
	Nearest MixResult
	cause   *InvalidError
}

// Error names the reason, the nearest strength that can be made, and of what.
func (e *InfeasibleError) Error() string {
	var parts []string
	for _, p := range e.Nearest.Parts {
		parts = append(parts, p.Mass.String()+" "+p.Name)
	}
	return e.cause.Error() + "; nearest that can be made: " + e.Nearest.Result.Mass.String() + ", freeze point " + e.Nearest.Result.Freeze.Stated.String() +
		", of " + strings.Join(parts, " and ")
}

// Unwrap returns the [*InvalidError] behind.
func (e *InfeasibleError) Unwrap() error { return e.cause }

// Mix answers a [MixRequest]. Grams are rounded to the scale's step and everything else follows from the rounded grams: the
// volumes, the contraction, the strength and the freeze point. The mixture's volume at Bench is Make but for that rounding.
// Impossible input is an [*InvalidError], a strength beyond 60 mass % or a temperature outside the tables a [*RangeError], a
// wish that the liquids at hand cannot meet an [*InfeasibleError].
func Mix(r MixRequest) (MixResult, error) {
	if r.Product != nil {
		return r.byProduct()
	}
	r = r.withDefaults()
	if err := r.validate(); err != nil {
		return MixResult{}, err
	}
	target, err := r.target()
	if err != nil {
		return MixResult{}, err
	}
	m, err := r.mixer()
	if err != nil {
		return MixResult{}, err
	}
	wanted := m.compensate(target)
	strongest := min(max(r.Concentrate, r.Premix), MaxMassFraction)
	feasible := min(max(wanted, 0), strongest)
	if math.Abs(float64(feasible-wanted)) > 1e-9 {
		return MixResult{}, m.infeasible(target, feasible)
	}
	return m.result(target, feasible), nil
}

func (r MixRequest) withDefaults() MixRequest {
	if r.Margin == nil {
		r.Margin = new(DefaultMargin)
	}
	if r.Step == 0 {
		r.Step = DefaultStep
	}
	return r
}

func (r MixRequest) validate() error {
	if err := r.Fluid.check(); err != nil {
		return err
	}
	targets := 0
	for _, given := range []bool{r.Protect != nil, r.Mass != nil, r.Volume != nil} {
		if given {
			targets++
		}
	}
	// Water has one strength, so that its target may stay away.
	if targets > 1 || targets == 0 && r.Fluid.IsGlycol() {
		return &InvalidError{"target", "", "say exactly one of the coldest wetted wall (protect), a mass % and a volume %"}
	}
	if err := checkBounds([]bound{
		{"margin", float64(*r.Margin), 0, 100, "K", "0 to 100 K"},
		{"make", float64(r.Make), 1e-6, 1e5, "l", "more than nothing and at most 100000 l"},
		{"concentrate", r.Concentrate.Percent(), 0, 100, "mass %", "0 to 100 mass % glycol"},
		{"concentrate uncertainty", r.ConcentrateUncertainty.Percent(), 0, 50, "mass %", "0 to 50 mass %"},
		{"premix", r.Premix.Percent(), 0, 60, "mass %", "0 to 60 mass % glycol; above it is a concentrate"},
		{"premix uncertainty", r.PremixUncertainty.Percent(), 0, 50, "mass %", "0 to 50 mass %"},
		{"premix available", float64(r.PremixAvailable), 0, 1e5, "l", "0 to 100000 l"},
		{"step", float64(r.Step), 1e-6, 10, "kg", "0.001 g to 10 kg"},
		{"left", float64(r.Left), 0, 1e5, "l", "0 to 100000 l"},
		{"left mass fraction", r.LeftMass.Percent(), 0, 60, "mass %", "0 to 60 mass % glycol"},
		{"left uncertainty", float64(r.LeftUncertainty), 0, 1e5, "l", "0 to 100000 l"},
	}); err != nil {
		return err
	}
	if !r.Fluid.IsGlycol() && (r.Concentrate != 0 || r.Premix != 0) {
		return &InvalidError{"fluid", string(r.Fluid), "a glycol where a concentrate or a premix is said; in water leave both out"}
	}
	if !r.Fluid.IsGlycol() && r.LeftMass != 0 {
		return &InvalidError{"left mass fraction", r.LeftMass.String(), "0%, after rinsing: glycol that stays in a loop feeds microbes in the water"}
	}
	return nil
}

// target works out the strength wanted in the loop.
func (r MixRequest) target() (MassFraction, error) {
	switch {
	case r.Mass != nil:
		return *r.Mass, checkFraction(r.Fluid, *r.Mass)
	case r.Volume != nil:
		x, err := MassFractionOf(r.Fluid, *r.Volume)
		if err != nil {
			return 0, err
		}
		return x, checkFraction(r.Fluid, x)
	}
	if r.Protect == nil {
		return 0, nil
	}
	wall := *r.Protect
	if !(wall >= -273.15 && wall <= 1000) {
		return 0, &InvalidError{"protect", decimal(float64(wall)), "not a temperature of a wall"}
	}
	freezeAt := wall.Add(-*r.Margin)
	if r.Fluid.IsGlycol() && freezeAt >= 0 {
		return 0, &InvalidError{"protect", wall.String(), "nothing can freeze there: say fluid water (with additives), or a volume % of 25 or more, below which glycol feeds microbes"}
	}
	if !r.Fluid.IsGlycol() && freezeAt >= 0 {
		return 0, nil
	}
	return strengthAgainst(r.Fluid, wall, *r.Margin, doubt{})
}

// RoomToExpand is how far below full a loop that holds so much must stay at the bench, so that the mix has room when it is hottest;
// nothing where the request or a temperature is outside the tables, as [Mix] then says.
func (r MixRequest) RoomToExpand(holds Litre, hottest Celsius) Litre {
	x, err := r.withDefaults().target()
	if err != nil {
		return 0
	}
	cold, err := LiquidDensity(r.Fluid, x, r.Bench)
	if err != nil {
		return 0
	}
	hot, err := LiquidDensity(r.Fluid, x, hottest)
	if err != nil {
		return 0
	}
	return holds * Litre(1-float64(hot/cold))
}

// strengthAgainst is the one law of mix and top-up: the least strength whose stated freeze point lies the margin below the coldest
// wall, whose freeze point at the warm end of its interval is not above that wall, and which does not feed microbes. d widens that interval.
func strengthAgainst(f Fluid, wall Celsius, margin CelsiusDelta, d doubt) (MassFraction, error) {
	x, err := MassFractionForFreezePoint(f, wall.Add(-margin))
	if err != nil || !f.IsGlycol() {
		return x, err
	}
	biostatic, err := MassFractionOf(f, Biostatic)
	if err != nil {
		return 0, err
	}
	x = max(x, biostatic)
	const step = 0.0005 // the interval widens in steps, so there is no slope to follow
	for ; x <= MaxMassFraction; x += step {
		own, slope := widest(f, x)
		off := math.Hypot(own, slope*float64(d.at(x)))
		if Celsius(statedFreeze(f, x)+off) <= wall {
			return x, nil
		}
	}
	z := freeze(f, MaxMassFraction)
	return 0, &RangeError{"coldest wall with " + f.Name(), float64(wall), float64(z.Stated.Add(z.Uncertainty)), 0, "°C", freezeTable(f)}
}

// widest returns the uncertainty and the slope of the freeze point, both as large as they get where a strength is rounded up to the scale.
func widest(f Fluid, x MassFraction) (own, slope float64) {
	up := min(x+0.01, MaxMassFraction)
	return float64(max(freeze(f, x).Uncertainty, freeze(f, up).Uncertainty)), max(-freezeSlope(f, x), -freezeSlope(f, up))
}

// doubt is how unsure a strength is, whatever it turns out to be (k = 2).
type doubt struct {
	read  MassFraction // of what is in the loop, beyond what the label makes of it
	label float64      // of what comes from a bottle, relative
}

// at is both at a strength: a label may be off in the loop as in the bottle, so they are added straight.
func (d doubt) at(x MassFraction) MassFraction { return d.read + MassFraction(d.label)*x }

// AdjustRequest asks how to bring a liquid in a container from one strength to another, using all of it.
type AdjustRequest struct {
	Fluid       Fluid
	Have        Litre
	HaveMass    MassFraction
	Want        MassFraction
	Concentrate MassFraction // to make it stronger; 0: none at hand
	Bench       Celsius
	Step        Kilogram // 0: DefaultStep
}

// Adjust says what to add: dilution water to make a liquid weaker, concentrate to make it stronger. The parts are what is there, as
// a premix, and what is added. A wish that the concentrate cannot meet is an [*InvalidError]; to make just one volume instead,
// give [Mix] the liquid as a premix with what there is of it.
func Adjust(r AdjustRequest) (MixResult, error) {
	if err := checkAnyFraction(r.Fluid, float64(r.HaveMass), "premix"); err != nil {
		return MixResult{}, err
	}
	if err := checkFraction(r.Fluid, r.Want); err != nil {
		return MixResult{}, err
	}
	if err := checkBounds([]bound{
		{"premix available", float64(r.Have), 1e-6, 1e5, "l", "more than nothing and at most 100000 l"},
		{"concentrate", r.Concentrate.Percent(), 0, 100, "mass %", "0 to 100 mass % glycol"},
	}); err != nil {
		return MixResult{}, err
	}
	if r.Want > r.HaveMass && r.Concentrate == 0 {
		return MixResult{}, &InvalidError{"concentrate", "", "what is at hand, such as 95%: " + r.Want.String() + " is stronger than what there is"}
	}
	if r.Want > r.HaveMass && r.Concentrate <= r.Want {
		return MixResult{}, &InvalidError{"concentrate", r.Concentrate.String(), "stronger than the " + r.Want.String() + " that is wanted"}
	}
	if r.Want == 0 && r.HaveMass > 0 {
		return MixResult{}, &InvalidError{"mass", r.Want.String(), "more than 0%; no amount of water makes glycol vanish"}
	}
	have, err := LiquidDensity(r.Fluid, r.HaveMass, r.Bench)
	if err != nil {
		return MixResult{}, err
	}
	made, err := Density(r.Fluid, r.Want, r.Bench)
	if err != nil {
		return MixResult{}, err
	}
	mass := float64(have.Mass(r.Have))
	total := mass
	switch {
	case r.Want < r.HaveMass:
		total = mass * float64(r.HaveMass/r.Want)
	case r.Want > r.HaveMass:
		total = mass * float64((r.Concentrate-r.HaveMass)/(r.Concentrate-r.Want))
	}
	mix := MixRequest{Fluid: r.Fluid, Mass: &r.Want, Make: made.Volume(Kilogram(total)), Concentrate: r.Concentrate, Bench: r.Bench, Step: r.Step}
	if r.HaveMass > MaxMassFraction {
		mix.Concentrate = r.HaveMass
	} else {
		mix.Premix, mix.PremixAvailable = r.HaveMass, r.Have
	}
	return Mix(mix)
}
