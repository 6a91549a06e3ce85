// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import "math"

// Costs are what a look weighs against what it prevents, in any one unit.
type Costs struct {
	// Visit is a look at a loop: the way, the hour, the call before it.
	Visit float64
	// Waste is what is spent on a loop that was good, such as a service that
	// could have waited.
	Waste float64
	// Failure is a loop that stops in use.
	Failure float64
}

// DefaultCosts count a failure as thirty visits, and half a visit as wasted on a
// good loop (own rule, no source).
func DefaultCosts() Costs { return Costs{Visit: 1, Waste: 0.5, Failure: 30} }

func (c Costs) check() error {
	for _, v := range []struct {
		name  string
		value float64
	}{{"visit", c.Visit}, {"failure", c.Failure}, {"waste", c.Waste + math.SmallestNonzeroFloat64}} {
		if !(v.value > 0) || math.IsInf(v.value, 1) {
			return &InvalidError{Column: v.name, Value: short(v.value), Reason: "a cost above 0 is right"}
		}
	}
	return nil
}

// Seen is what the loops of one kind have shown of one cause.
type Seen struct {
	Cause    string
	Failures int
	// Warning is for how long, in the unit of the ages and on average, a fault
	// of this cause shows before it stops the loop: only then can a look
	// prevent it.
	Warning float64
	// Noticed is for how long, after loops were last measured, a failure of this
	// cause would have been noticed and was not, summed over the loops, in the
	// unit of the ages.
	Noticed float64
}

// Plan says when to look, and what that is worth.
type Plan struct {
	// Age is the time since the fill, or since a loop was last known good, at
	// which to look.
	Age float64
	// Early and Late are the ages that the two ends of what is not known call
	// for; Age is the one of Early, Late and the policy's that lies between.
	Early, Late float64
	// Soonest and Latest are the ages between which Early and Late are sought: at
	// one of them, a look sooner or later still would cost less.
	Soonest, Latest float64
	// Rate is failures per loop and month, all causes, at the end that counts.
	Rate float64
	// Prior is the share of that rate that is belief and not evidence.
	Prior float64
	// Looks and Prevented are what the policy's interval comes to, for ten loops
	// in a year.
	Looks, Prevented float64
}

// priorFailures is how many failures the policy's interval counts as, over all
// causes: a weak belief.
const priorFailures = 2.0

// PlanLooks finds the look that costs least: visits and wasted service against
// failures in use, for failures that come at a constant rate for each cause. The
// rate is believed to be the one for which the policy's interval is right, with
// the weight of two failures over all causes, and moved by what was seen (a
// gamma prior and Poisson counts). known is the time under watch if nothing is
// known of a loop since it was last measured but what was noticed, hopeful if all
// of them were good until today, both in the unit of the ages. Only if both call for an earlier
// look, or both for a later one, is the policy's interval left. No look comes
// before floor.
//
// More failures in the same time, or the same failures in less, never postpone
// the look.
func PlanLooks(seen []Seen, known, hopeful, policy, floor float64, costs Costs) (Plan, error) {
	if err := costs.check(); err != nil {
		return Plan{}, err
	}
	if !(policy > 0 && policy <= MaxAge) {
		return Plan{}, &InvalidError{Column: "policy", Value: short(policy), Reason: "an age above 0 is right"}
	}
	b := newBelief(seen, policy, costs)
	knownOf := func(s Seen) float64 { return math.Min(known+s.Noticed, math.Max(known, hopeful)) }
	hopefulOf := func(Seen) float64 { return hopeful }
	p := Plan{Early: b.best(knownOf, floor), Late: b.best(hopefulOf, floor), Soonest: floor, Latest: math.Max(floor, longest*policy)}
	p.Age = policy
	watched := knownOf
	switch {
	case p.Early < policy && p.Late < policy:
		p.Age, watched = p.Late, hopefulOf
	case p.Early > policy && p.Late > policy:
		p.Age = p.Early
	}
	prior := b.weight * float64(len(seen))
	failures := 0.0
	for _, s := range seen {
		p.Rate += b.rate(s, watched(s))
		failures += float64(s.Failures)
		p.Prevented += 120 * b.rate(s, watched(s)) * caught(policy, s.Warning)
	}
	p.Looks = 120 / policy
	p.Prior = prior / (prior + failures)
	return p, nil
}

// belief is the prior rate of each cause, and how much it weighs.
type belief struct {
	seen   []Seen
	costs  Costs
	policy float64
	weight float64 // in failures, for each cause
	before float64 // months that the belief counts as, for each cause
}

func newBelief(seen []Seen, policy float64, costs Costs) belief {
	b := belief{seen: seen, costs: costs, policy: policy, weight: priorFailures / float64(max(1, len(seen)))}
	slope := 0.0 // of the share prevented, over the causes
	for _, s := range seen {
		slope -= slopeCaught(policy, s.Warning)
	}
	// The rate at which the cost has its minimum at the policy's interval.
	rate := (costs.Visit + costs.Waste) / (policy * policy * costs.Failure * slope)
	b.before = b.weight / rate
	return b
}

func (b belief) rate(s Seen, watched float64) float64 {
	return (b.weight + float64(s.Failures)) / (b.before + watched)
}

// longest is how far beyond the policy's interval a look may be put off.
const longest = 2

// best is the age at which the cost per month is least: where the failures that
// one more month would let through begin to cost more than the visits it saves.
func (b belief) best(watched func(Seen) float64, floor float64) float64 {
	dear := func(age float64) bool {
		gain := 0.0
		for _, s := range b.seen {
			gain -= b.rate(s, watched(s)) * slopeCaught(age, s.Warning)
		}
		return b.costs.Failure*gain*age*age >= b.costs.Visit+b.costs.Waste
	}
	if latest := longest * b.policy; !dear(latest) {
		return math.Max(floor, latest)
	}
	return math.Max(floor, bisect(0, longest*b.policy, dear))
}

// caught is the share of faults that a look each so many months finds before
// they stop the loop: they begin at any time, and show for an exponential time
// with the mean given (delay-time model, Christer and Waller 1984, from memory).
func caught(every, warning float64) float64 {
	return warning / every * -math.Expm1(-every/warning)
}

// slopeCaught is the derivative of caught by every.
func slopeCaught(every, warning float64) float64 {
	x := every / warning
	return (math.Exp(-x)*(1+x) - 1) / (every * x)
}
