// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"
	"slices"
)

// Creep watches the resistance since a proof for a slow rise: a one-sided
// CUSUM of the logarithm of the resistance over that of the proof (Page 1954;
// Montgomery and Runger, Applied Statistics, section 16-10, h 4 to 5). The zero
// value has seen nothing.
type Creep struct {
	proved KelvinPerWatt // the reference
	sigma  float64       // of one value, as a standard deviation of its logarithm
	sum    float64       // of the chart, in sigmas
	since  float64       // day on which the sum last was zero
	n      int           // values since then
}

// Constants of the chart. The slack is half the shift that is to be found; the
// threshold was found by simulation (doc/triage.md): weekly values with 1 K of
// noise at the die, 2 K at the room and 10 % of power.
const (
	creepSlack = 0.5 // sigmas
	creepLimit = 8.0 // sigmas
	// leastShare is the least rise worth a call, as a share of the proof.
	leastShare = 0.15
)

// WatchCreep begins a watch at a proof. Sigma is the relative uncertainty of
// one later value, as a standard deviation: above 0 and at most 1.
func WatchCreep(proved KelvinPerWatt, sigma float64) (Creep, error) {
	if !(proved > 0 && proved <= 20) {
		return Creep{}, invalid("proved resistance", float64(proved), "more than 0 and at most 20 K/W")
	}
	if !(sigma > 0 && sigma <= 1) {
		return Creep{}, invalid("sigma", sigma, "more than 0 and at most 1")
	}
	return Creep{proved: proved, sigma: sigma}, nil
}

// CreepSigma is the relative standard deviation of a resistance read at a
// power and a difference from die to room, with standard deviations of the
// die, the room (K) and the power (share).
func CreepSigma(difference, die, room, power float64) float64 {
	return math.Hypot(math.Hypot(die, room)/difference, power)
}

// Called is a rise that the chart has found.
type Called struct {
	Day   float64 `json:"day"`   // of the value that called
	Since float64 `json:"since"` // day on which the rise is likely to have begun
	// Share is how far the resistance stands above the proof, with its standard
	// deviation: 0.3 is 30 %.
	Share       float64 `json:"share"`
	Uncertainty float64 `json:"uncertainty"`
}

// Reason says it in words for a plan, before what it stands above.
func (c Called) Reason() string {
	return fmt.Sprintf("the resistance from die to room stands %.0f ± %.0f %% above", 100*c.Share, 100*c.Uncertainty)
}

// Add takes the next value, of a day from any common day, and says whether the
// chart calls. A value that is no resistance is refused and changes nothing.
func (c *Creep) Add(day float64, value KelvinPerWatt) (*Called, error) {
	if c.proved == 0 {
		return nil, invalid("proof", 0, "a watch that was begun at a proof")
	}
	if !(value > 0 && value <= 20) {
		return nil, invalid("resistance", float64(value), "more than 0 and at most 20 K/W")
	}
	z := math.Log(float64(value/c.proved)) / c.sigma
	if c.sum == 0 {
		c.since, c.n = day, 0
	}
	c.n++
	c.sum = max(0, c.sum+z-creepSlack)
	if c.sum <= creepLimit {
		return nil, nil
	}
	mean := (creepSlack + c.sum/float64(c.n)) * c.sigma // of the logarithm, since the change
	called := Called{Day: day, Since: c.since, Share: math.Expm1(mean), Uncertainty: math.Exp(mean) * c.sigma / math.Sqrt(float64(c.n))}
	if called.Share < leastShare {
		return nil, nil
	}
	return &called, nil
}

// SeenAfter is the rise, as a share of the proof, that as many values a year
// for as many years let the chart see in nine of ten cases: what can be said
// of a watch beforehand. It is found by the drift of the chart and the spread
// of its sum, to 1 %.
func SeenAfter(values int, sigma float64) float64 {
	n := float64(values)
	shares := make([]float64, 0, 300)
	for s := 0.01; s <= 3; s += 0.01 {
		shares = append(shares, s)
	}
	at, _ := slices.BinarySearchFunc(shares, true, func(s float64, _ bool) int {
		drift := n*(math.Log1p(s)/sigma-creepSlack) - 1.2816*math.Sqrt(n) // 9 of 10
		if drift > creepLimit {
			return 1
		}
		return -1
	})
	if at == len(shares) {
		return math.Inf(1)
	}
	return shares[at]
}
