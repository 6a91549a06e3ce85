// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"

	"fillmark/chemistry"
)

// ChillerProof compares a chiller before and after a repair. A chiller cools
// below the room: a resistance from coolant to room would be negative there, so
// it is proved by what it does.
type ChillerProof struct {
	// MissBefore and MissAfter are how far the leaving coolant stood above the
	// set point, in K, k = 2; below zero it was too cold.
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

// lacks is what a chiller's reading must have and has not; empty where it is
// whole. What enters the plate left the chiller, what leaves it comes back.
func (r Reading) lacks() string {
	switch {
	case r.Set == nil:
		return "the set point"
	case r.CoolantIn == nil:
		return "the coolant that leaves the chiller"
	case r.CoolantOut == nil:
		return "the coolant that comes back"
	case r.Power == nil:
		return "the heat that it carries off"
	}
	return ""
}

// spread is nil where the coolant does not come back warmer.
func (r Reading) spread() *Measured[KelvinPerWatt] {
	rise, u := float64(r.CoolantOut.Sub(*r.CoolantIn)), math.Sqrt2*r.temperatureUncertainty()
	if rise <= 0 {
		return nil
	}
	v := rise / float64(*r.Power)
	return &Measured[KelvinPerWatt]{KelvinPerWatt(v), KelvinPerWatt(v * math.Hypot(u/rise, r.powerShare()))}
}

// ProveChiller compares two readings of a chiller: its set point, the coolant
// that leaves it (into what it cools) and comes back, and the heat. It refuses,
// as a [Refusal], what is truly not comparable: a figure that was not read, an
// unsteady reading after the repair, a clearly smaller load, or a clearly
// cooler room, each of which would look like a repair.
func ProveChiller(before, after Reading) (ChillerProof, error) {
	const what = "proof of the repair"
	for i, r := range []Reading{before, after} {
		when := [2]string{"before", "after"}[i]
		if err := r.validate(); err != nil {
			return ChillerProof{}, err
		}
		if missing := r.lacks(); missing != "" {
			return ChillerProof{}, Refusal{what, fmt.Sprintf("%s %s the repair is not read", missing, when)}
		}
	}
	switch {
	case !after.Steady:
		return ChillerProof{}, Refusal{what, "not comparable: the coolant was not steady after the repair (less than 0.1 K/min)"}
	case *after.Power < leastLoad**before.Power:
		return ChillerProof{}, Refusal{what, fmt.Sprintf("not comparable: it carried %s before and only %s after; a set point is easily held at less", *before.Power, *after.Power)}
	case before.Room != nil && after.Room != nil && float64(before.Room.Sub(*after.Room)) > coolerRoom:
		return ChillerProof{}, Refusal{what, fmt.Sprintf("not comparable: the room was %s before and %s after; a chiller does more in a cooler one", *before.Room, *after.Room)}
	}
	miss := func(r Reading) Measured[chemistry.CelsiusDelta] {
		return Measured[chemistry.CelsiusDelta]{Value: r.CoolantIn.Sub(*r.Set), Uncertainty: chemistry.CelsiusDelta(r.temperatureUncertainty())}
	}
	p := ChillerProof{MissBefore: miss(before), MissAfter: miss(after), SpreadBefore: before.spread(), SpreadAfter: after.spread()}
	off := func(m Measured[chemistry.CelsiusDelta]) float64 { return math.Abs(float64(m.Value)) }
	p.Holds = off(p.MissAfter) <= float64(p.MissAfter.Uncertainty)
	gain := off(p.MissBefore) - off(p.MissAfter)
	p.Proved = p.Holds && gain > root(float64(p.MissBefore.Uncertainty), float64(p.MissAfter.Uncertainty))
	p.Text = fmt.Sprintf("At %s it leaves at %s with %s asked for; before the repair, at %s, it left at %s with %s asked for.",
		*after.Power, *after.CoolantIn, *after.Set, *before.Power, *before.CoolantIn, *before.Set)
	if b, a := p.SpreadBefore, p.SpreadAfter; b != nil && a != nil && float64(b.Value-a.Value) > root(float64(b.Uncertainty), float64(a.Uncertainty)) {
		p.Proved = p.Holds
		p.Text += fmt.Sprintf(" The coolant warms by %.0f %% less on its way for the same heat: more flows.", 100*(1-float64(a.Value/b.Value)))
	}
	switch {
	case !p.Holds && p.MissAfter.Value < 0:
		p.Text += " It cools below its set point, where its evaporator can freeze: nothing is proved."
	case !p.Holds:
		p.Text += " It does not hold its set point: nothing is proved."
	case !p.Proved:
		p.Text += " It held before as well, within what the readings can be wrong by."
	}
	return p, nil
}

// Sentence says what is proved, with the figures.
func (p ChillerProof) Sentence() string {
	verdict := "The repair is not proved."
	if p.Proved {
		verdict = "The repair is proved."
	}
	return fmt.Sprintf("%s Above its set point by %.1f ± %.1f K before, by %.1f ± %.1f K after. %s", verdict,
		float64(p.MissBefore.Value), float64(p.MissBefore.Uncertainty), float64(p.MissAfter.Value), float64(p.MissAfter.Uncertainty), p.Text)
}
