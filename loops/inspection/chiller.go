// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"

	"fillmark/chemistry"
)

// ChillerReading is one set of readings of a chiller, which cools below the
// room: a resistance from coolant to room would be negative there, so it is
// proved by what it does, not by one.
type ChillerReading struct {
	Set    chemistry.Celsius  // set point of the leaving coolant
	Out    chemistry.Celsius  // coolant that leaves the chiller
	Return chemistry.Celsius  // coolant that comes back to it
	Room   *chemistry.Celsius // nil where not read
	Load   Watt               // heat that it carries off
	Steady bool               // neither temperature moved more than 0.1 K/min
	// TemperatureUncertainty is that of each temperature, k = 2; zero reads as
	// [DefaultTemperatureUncertainty].
	TemperatureUncertainty chemistry.CelsiusDelta
}

// ChillerProof compares a chiller before and after a repair.
type ChillerProof struct {
	// MissBefore and MissAfter are how far the leaving coolant stood above the
	// set point, in K, k = 2.
	MissBefore Measured[chemistry.CelsiusDelta] `json:"miss_before_k"`
	MissAfter  Measured[chemistry.CelsiusDelta] `json:"miss_after_k"`
	// SpreadBefore and SpreadAfter are the rise of the coolant through what it
	// cools for each watt, in K/W: it falls as the flow comes back. Nil where
	// the coolant did not come back warmer than it left.
	SpreadBefore *Measured[KelvinPerWatt] `json:"spread_before_k_w,omitempty"`
	SpreadAfter  *Measured[KelvinPerWatt] `json:"spread_after_k_w,omitempty"`
	Holds        bool                     `json:"holds"`  // the set point, after
	Proved       bool                     `json:"proved"` // it holds, and did not, or flows clearly better
	Text         string                   `json:"text"`
}

// Bounds of a chiller's proof (judgement): the share of the load before that
// the load after must reach, and how much cooler the room may be.
const (
	leastLoad  = 0.8
	coolerRoom = 5.0 // K
)

func (r ChillerReading) uncertainty() float64 {
	if r.TemperatureUncertainty > 0 {
		return float64(r.TemperatureUncertainty)
	}
	return float64(DefaultTemperatureUncertainty)
}

func (r ChillerReading) validate(when string) error {
	for _, t := range [...]struct {
		field string
		value chemistry.Celsius
	}{{"set point", r.Set}, {"coolant out", r.Out}, {"coolant back", r.Return}} {
		if !(t.value >= -60 && t.value <= 100) {
			return invalid(t.field+" "+when, float64(t.value), "-60 to 100 °C")
		}
	}
	if !(r.Load > 0 && r.Load <= 1e6) {
		return invalid("load "+when, float64(r.Load), "more than 0 and at most 1000000 W")
	}
	return nil
}

// spread is nil where the coolant does not come back warmer.
func (r ChillerReading) spread() *Measured[KelvinPerWatt] {
	rise, u := float64(r.Return.Sub(r.Out)), math.Sqrt2*r.uncertainty()
	if rise <= 0 {
		return nil
	}
	v := rise / float64(r.Load)
	return &Measured[KelvinPerWatt]{KelvinPerWatt(v), KelvinPerWatt(v * math.Hypot(u/rise, DefaultPowerShare))}
}

// ProveChiller compares two readings of a chiller. It refuses, as a [Refusal],
// what is truly not comparable: an unsteady reading after the repair, a clearly
// smaller load, or a clearly cooler room, each of which would look like a
// repair.
func ProveChiller(before, after ChillerReading) (ChillerProof, error) {
	const what = "proof of the repair"
	for when, r := range map[string]ChillerReading{"before": before, "after": after} {
		if err := r.validate(when); err != nil {
			return ChillerProof{}, err
		}
	}
	switch {
	case !after.Steady:
		return ChillerProof{}, Refusal{what, "not comparable: the coolant was not steady after the repair (less than 0.1 K/min)"}
	case after.Load < leastLoad*before.Load:
		return ChillerProof{}, Refusal{what, fmt.Sprintf("not comparable: it carried %s before and only %s after; a set point is easily held at less", before.Load, after.Load)}
	case before.Room != nil && after.Room != nil && float64(before.Room.Sub(*after.Room)) > coolerRoom:
		return ChillerProof{}, Refusal{what, fmt.Sprintf("not comparable: the room was %s before and %s after; a chiller does more in a cooler one", *before.Room, *after.Room)}
	}
	miss := func(r ChillerReading) Measured[chemistry.CelsiusDelta] {
		return Measured[chemistry.CelsiusDelta]{Value: r.Out.Sub(r.Set), Uncertainty: chemistry.CelsiusDelta(r.uncertainty())}
	}
	p := ChillerProof{MissBefore: miss(before), MissAfter: miss(after), SpreadBefore: before.spread(), SpreadAfter: after.spread()}
	p.Holds = p.MissAfter.Value <= p.MissAfter.Uncertainty
	gain := float64(p.MissBefore.Value - p.MissAfter.Value)
	p.Proved = p.Holds && gain > root(float64(p.MissBefore.Uncertainty), float64(p.MissAfter.Uncertainty))
	p.Text = fmt.Sprintf("At %s it leaves at %s with %s asked for; before the repair it left at %s with %s asked for.", after.Load, after.Out, after.Set, before.Out, before.Set)
	if b, a := p.SpreadBefore, p.SpreadAfter; b != nil && a != nil && float64(b.Value-a.Value) > root(float64(b.Uncertainty), float64(a.Uncertainty)) {
		p.Proved = p.Holds
		p.Text += fmt.Sprintf(" The coolant warms by %.0f %% less on its way for the same heat: more flows.", 100*(1-float64(a.Value/b.Value)))
	}
	switch {
	case !p.Holds:
		p.Text += " It does not hold its set point: nothing is proved."
	case !p.Proved:
		p.Text += " It held before as well, within what the readings can be wrong by."
	}
	return p, nil
}
