// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"

	"fillmark/chemistry"
)

// Proof compares the resistance from die to room before and after a repair.
type Proof struct {
	Before Measured[KelvinPerWatt] `json:"before_k_w"`
	After  Measured[KelvinPerWatt] `json:"after_k_w"`
	// Gain is before less after; the repair is proved where it is larger than
	// its uncertainty.
	Gain   Measured[KelvinPerWatt] `json:"gain_k_w"`
	Proved bool                    `json:"proved"`
	// DieBefore is what the die would have read before the repair in the room
	// and at the power of the reading after it.
	DieBefore chemistry.Celsius `json:"die_before_same_conditions_c"`
	Text      string            `json:"text"`
}

// Prove compares two readings. It refuses, as a [Refusal], readings without
// die, room and power, unsteady ones, and powers more than 25 % apart: a
// cooler room or a lower load would look like a repair.
func Prove(before, after Reading) (Proof, error) {
	const what = "proof of the repair"
	total := [2]Measured[KelvinPerWatt]{}
	for i, r := range []Reading{before, after} {
		when := [2]string{"before", "after"}[i]
		f, err := Read(r)
		if err != nil {
			return Proof{}, err
		}
		if f.Total == nil {
			return Proof{}, Refusal{what, "die temperature, room temperature and power " + when + " the repair are needed"}
		}
		if i == 1 && !r.Steady {
			return Proof{}, Refusal{what, "the coolant was not steady after the repair (less than 0.1 K/min)"}
		}
		total[i] = *f.Total
	}
	if p, q := float64(*before.Power), float64(*after.Power); math.Abs(p-q) > TrendPowerShare*max(p, q) {
		return Proof{}, Refusal{what, fmt.Sprintf("%s before and %s after; only powers within 25 %% compare", *before.Power, *after.Power)}
	}
	p := Proof{Before: total[0], After: total[1]}
	p.Gain = Measured[KelvinPerWatt]{p.Before.Value - p.After.Value, KelvinPerWatt(root(float64(p.Before.Uncertainty), float64(p.After.Uncertainty)))}
	p.Proved = p.Gain.Value > p.Gain.Uncertainty
	p.DieBefore = after.Room.Add(chemistry.CelsiusDelta(float64(p.Before.Value) * float64(*after.Power)))
	p.Text = fmt.Sprintf("At %s in a room of %s the die reads %s; before the repair it would have been %s.", *after.Power, *after.Room, *after.Die, p.DieBefore)
	switch {
	case !before.Steady:
		p.Text += " It was still climbing then, so that the true gain is larger."
	case !p.Proved:
		p.Text += " The difference is within what the readings can be wrong by: measure again, longer or at more power."
	}
	return p, nil
}
