// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"

	"fillmark/chemistry"
)

// Figures are what one set of readings gives. Nil is "cannot be told", and
// Refused says why.
type Figures struct {
	Total    *Measured[KelvinPerWatt]  `json:"total_k_w,omitempty"`    // die to room
	Mount    *Measured[KelvinPerWatt]  `json:"mount_k_w,omitempty"`    // die to coolant
	Radiator *Measured[KelvinPerWatt]  `json:"radiator_k_w,omitempty"` // coolant to room
	Flow     *Measured[LitrePerMinute] `json:"flow_l_min,omitempty"`
	Refused  []Refusal                 `json:"refused,omitempty"`
}

// Read computes the resistances and the flow of a reading:
//
//	total    (die − room) / power
//	mount    (die − coolant in) / power
//	radiator (coolant in − room) / (power + pump power)
//	flow     power / (density · specific heat · (coolant out − coolant in))
//
// Source: thermal characterization parameter, processor makers' thermal and
// mechanical design guides, whole package power in the denominator. The
// uncertainty of a resistance is √((u₁²+u₂²)/ΔT² + (u_P/P)²), first order.
func Read(r Reading) (Figures, error) {
	if err := r.validate(); err != nil {
		return Figures{}, err
	}
	var f Figures
	refuse := func(what, why string) { f.Refused = append(f.Refused, Refusal{what, why}) }
	if r.Power == nil {
		for _, what := range []string{"total resistance", "mount resistance", "radiator resistance", "flow"} {
			refuse(what, "the heat at the cold plate in W is not known")
		}
		return f, nil
	}
	resistance := func(what string, from, to *chemistry.Celsius, missing string, p Watt) *Measured[KelvinPerWatt] {
		if from == nil || to == nil {
			refuse(what, missing+" is not read")
			return nil
		}
		if *from <= *to {
			refuse(what, fmt.Sprintf("%s is not above %s, so no heat is told from it; a sensor is off, or the loop is cooled below the room", *from, *to))
			return nil
		}
		m := r.resistance(from.Sub(*to), p)
		return &m
	}
	f.Total = resistance("total resistance", r.Die, r.Room, "the die or the room temperature", *r.Power)
	coolant := r.CoolantIn
	if coolant == nil {
		coolant = r.CoolantOut
	}
	f.Mount = resistance("mount resistance", r.Die, coolant, "the die or a coolant temperature", *r.Power)
	f.Radiator = resistance("radiator resistance", coolant, r.Room, "a coolant or the room temperature", *r.Power+r.Pump)
	flow, err := r.flow()
	if refusal, ok := err.(Refusal); ok {
		f.Refused = append(f.Refused, refusal)
	} else if err != nil {
		return Figures{}, err
	} else {
		f.Flow = &flow
	}
	return f, nil
}

func (r Reading) resistance(dT chemistry.CelsiusDelta, p Watt) Measured[KelvinPerWatt] {
	u := r.temperatureUncertainty()
	psi := float64(dT) / float64(p)
	return Measured[KelvinPerWatt]{KelvinPerWatt(psi), KelvinPerWatt(root(u/float64(p), u/float64(p), psi*r.powerShare()))}
}

// leastRise is how many standard uncertainties a temperature rise must have
// before a flow is worked out from it.
const leastRise = 3

// smallestRise is the least rise across the plate, in K, that means anything.
func (r Reading) smallestRise() float64 {
	return leastRise * math.Sqrt2 * r.temperatureUncertainty() / 2
}

// flow refuses, as a [Refusal], what the readings cannot tell.
func (r Reading) flow() (Measured[LitrePerMinute], error) {
	none := Measured[LitrePerMinute]{}
	switch {
	case r.CoolantIn == nil || r.CoolantOut == nil:
		return none, Refusal{"flow", "the coolant is not read on both sides of the cold plate, and the pump's speed is not flow"}
	case r.Fluid == "" || r.Mass == nil && r.Fluid.IsGlycol():
		return none, Refusal{"flow", "what is in the loop, and how strong it is, is not known"}
	}
	rise := r.CoolantOut.Sub(*r.CoolantIn)
	uRise := math.Sqrt2 * r.temperatureUncertainty() // k = 2
	if float64(rise) < r.smallestRise() {
		return none, Refusal{"flow", fmt.Sprintf("the coolant rises %.1f K across the plate; with these probes at least %.1f K is needed", float64(rise), r.smallestRise())}
	}
	mass := chemistry.MassFraction(0)
	if r.Mass != nil {
		mass = *r.Mass
	}
	mean := r.CoolantIn.Add(rise / 2)
	rho, err := chemistry.Density(r.Fluid, mass, mean)
	if err != nil {
		return none, err
	}
	cp, err := chemistry.SpecificHeat(r.Fluid, mass, mean)
	if err != nil {
		return none, err
	}
	v := FlowAtRise(*r.Power, rise, rho, cp)
	return Measured[LitrePerMinute]{v, v * LitrePerMinute(root(r.powerShare(), uRise/float64(rise)))}, nil
}

// FlowAtRise returns the flow that carries a power off at a temperature rise:
// 60 P / (ρ cp ΔT). The rise must be positive.
func FlowAtRise(p Watt, rise chemistry.CelsiusDelta, rho chemistry.KilogramPerLitre, cp chemistry.JoulePerKilogramKelvin) LitrePerMinute {
	return LitrePerMinute(60 * float64(p) / (float64(rho) * float64(cp) * float64(rise)))
}

// What a reading must have before it is compared with others of the same loop
// over months: enough power and difference for the resistance to mean
// something (a relative uncertainty below about 20 %).
const (
	LeastTrendPower      Watt                   = 50
	LeastTrendDifference chemistry.CelsiusDelta = 10
	// TrendPowerShare is how far the power may lie from the baseline's.
	TrendPowerShare = 0.25
)

// ForTrend says why a reading does not count in a trend; nil where it does.
// Like is the power that the others were taken at; zero where there is none.
func (r Reading) ForTrend(like Watt) error {
	const what = "trend"
	switch {
	case r.Die == nil || r.Room == nil || r.Power == nil:
		return Refusal{what, "die temperature, room temperature and power are needed"}
	case !r.Steady:
		return Refusal{what, "the coolant was not steady (less than 0.1 K/min)"}
	case *r.Power < LeastTrendPower:
		return Refusal{what, fmt.Sprintf("taken at %s; at least %s is needed", *r.Power, LeastTrendPower)}
	case r.Die.Sub(*r.Room) < LeastTrendDifference:
		return Refusal{what, fmt.Sprintf("the die is only %s above the room; at least %s is needed", r.Die.Sub(*r.Room), LeastTrendDifference)}
	case like > 0 && math.Abs(float64(*r.Power-like)) > TrendPowerShare*float64(like):
		return Refusal{what, fmt.Sprintf("taken at %s; only readings within 25 %% of %s compare", *r.Power, like)}
	}
	return nil
}

// DewPoint returns the temperature at which air of a relative humidity (0 < h
// ≤ 1) at t (−30 to 60 °C) wets a surface: 1/(Td+235) = 1/(T+235) +
// log10(1/h)/1750.286 (secondary report of a guideline for liquid-cooled
// rooms). A wet tube colder than this is no leak.
func DewPoint(t chemistry.Celsius, h float64) (chemistry.Celsius, error) {
	if !(t >= -30 && t <= 60) {
		return 0, invalid("room", float64(t), "-30 to 60 °C")
	}
	if !(h > 0 && h <= 1) {
		return 0, invalid("humidity", h, "a relative humidity above 0 and at most 1")
	}
	return chemistry.Celsius(1/(1/(float64(t)+235)+math.Log10(1/h)/1750.286) - 235), nil
}
