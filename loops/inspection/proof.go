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
	// Gain is before less after. Proved tells that it is larger than its
	// uncertainty, at whatever power; see Apart.
	Gain   Measured[KelvinPerWatt] `json:"gain_k_w"`
	Proved bool                    `json:"proved"`
	// Unlike says how power and room differed, and what that adds to the
	// uncertainty of the gain; empty where they did not.
	Unlike string `json:"unlike,omitempty"`
	// Apart says why the two release no machine, however large the gain: their
	// powers lie further apart than [TrendPowerShare]. Empty where they do not.
	Apart string `json:"apart,omitempty"`
	// DieBefore is what the die would have read before the repair in the room
	// and at the power of the reading after it.
	DieBefore chemistry.Celsius `json:"die_before_same_conditions_c"`
	Text      string            `json:"text"`
}

// What unlike conditions add to the uncertainty of a gain, as a share of the
// smaller resistance, k = 2 (judgement): fans and pump follow the heat, and the
// coolant thins as it warms, so that the resistance of a sound machine itself
// moves with its power and a little with its room. Beyond a factor of
// [mostUnlike] in power nothing is compared.
const (
	unlikePower = 0.20 // for each factor e
	unlikeRoom  = 0.03 // for each 10 K
	mostUnlike  = 4.0
	alike       = 0.05 // share of the power, and
	alikeRoom   = 3.0  // K, that nobody calls unlike
)

// Prove compares two readings, at unlike power and room with a larger
// uncertainty. It refuses, as a [Refusal], what is truly not comparable:
// readings without die, room and power, a die not above its room, an unsteady
// one after the repair, and powers more than a factor of four apart.
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
			if r.Die != nil && r.Room != nil && r.Power != nil {
				return Proof{}, Refusal{what, "not comparable: " + when + " the repair the die was not above the room"}
			}
			return Proof{}, Refusal{what, "die temperature, room temperature and power " + when + " the repair are needed"}
		}
		if i == 1 && !r.Steady {
			return Proof{}, Refusal{what, "the coolant was not steady after the repair (less than 0.1 K/min)"}
		}
		total[i] = *f.Total
	}
	ratio := math.Log(float64(*before.Power / *after.Power))
	if math.Abs(ratio) > math.Log(mostUnlike) {
		return Proof{}, Refusal{what, fmt.Sprintf("not comparable: %s before and %s after; at most a factor of %.0f may lie between", *before.Power, *after.Power, mostUnlike)}
	}
	rooms := float64(after.Room.Sub(*before.Room))
	p := Proof{Before: total[0], After: total[1]}
	p.Gain = Measured[KelvinPerWatt]{p.Before.Value - p.After.Value, KelvinPerWatt(root(float64(p.Before.Uncertainty), float64(p.After.Uncertainty)))}
	if math.Abs(ratio) > alike || math.Abs(rooms) > alikeRoom {
		share := math.Hypot(unlikePower*ratio, unlikeRoom*rooms/10)
		more := share * float64(min(p.Before.Value, p.After.Value))
		p.Gain.Uncertainty = KelvinPerWatt(math.Hypot(float64(p.Gain.Uncertainty), more))
		p.Unlike = fmt.Sprintf("%s and %s before, %s and %s after: that adds %s to the uncertainty", *before.Power, *before.Room, *after.Power, *after.Room, KelvinPerWatt(more))
	}
	if p0, p1 := float64(*before.Power), float64(*after.Power); math.Abs(p0-p1) > TrendPowerShare*max(p0, p1) {
		p.Apart = fmt.Sprintf("%s before and %s after; only powers within %.0f %% release a machine: read it again at %s to %s",
			*before.Power, *after.Power, 100*TrendPowerShare, Watt(math.Ceil(10*p0*(1-TrendPowerShare))/10), Watt(math.Floor(10*p0/(1-TrendPowerShare))/10))
	}
	p.Proved = p.Gain.Value > p.Gain.Uncertainty
	p.DieBefore = after.Room.Add(chemistry.CelsiusDelta(float64(p.Before.Value) * float64(*after.Power)))
	p.Text = fmt.Sprintf("At %s in a room at %s the processor shows %s; before the repair it would have been %s.", *after.Power, *after.Room, *after.Die, p.DieBefore)
	if p.Unlike != "" {
		p.Text += " The conditions differed: " + p.Unlike + "."
	}
	switch {
	case !before.Steady:
		p.Text += " It was still climbing then, so the true gain is larger."
	case !p.Proved:
		p.Text += " The difference is within what the readings can be wrong by: measure again, longer or at more power."
	}
	return p, nil
}

// Sentence says what is proved, or why nothing is, with the figures.
func (p Proof) Sentence() string {
	verdict := "The repair is not proved."
	switch {
	case p.Apart != "":
		verdict = "Nothing is proved: " + p.Apart + "."
	case p.Proved:
		verdict = "The repair is proved."
	}
	return fmt.Sprintf("%s From die to room %.3f ± %s before, %.3f ± %s after. %s", verdict,
		float64(p.Before.Value), p.Before.Uncertainty, float64(p.After.Value), p.After.Uncertainty, p.Text)
}

// Compared is a repair against what was before it: of a chiller by its set
// point, of all else by the resistance from die to room. One is nil.
type Compared struct {
	Proof   *Proof        `json:"proof,omitempty"`
	Chiller *ChillerProof `json:"chiller,omitempty"`
}

// Compare compares readings before and after a repair by [ProveChiller] where
// the set point was read after it, else by [Prove]; it refuses what they refuse.
func Compare(before, after Reading) (Compared, error) {
	if after.Set == nil {
		p, err := Prove(before, after)
		if err != nil {
			return Compared{}, err
		}
		return Compared{Proof: &p}, nil
	}
	p, err := ProveChiller(before, after)
	if err != nil {
		return Compared{}, err
	}
	return Compared{Chiller: &p}, nil
}

// Proved tells that the figures prove the repair. Readings at unlike power are
// compared and shown, but what releases a machine rests on no estimate of what
// its power changes.
func (c Compared) Proved() bool {
	if c.Chiller != nil {
		return c.Chiller.Proved
	}
	return c.Proof != nil && c.Proof.Proved && c.Proof.Apart == ""
}

// Sentence says what is proved, or why nothing is; empty where nothing was
// compared.
func (c Compared) Sentence() string {
	switch {
	case c.Chiller != nil:
		return c.Chiller.Sentence()
	case c.Proof != nil:
		return c.Proof.Sentence()
	}
	return ""
}
