// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"math"

	"fillmark/loops/inspection"
)

// How well the readings are known, as standard deviations of logarithms
// (common practice, no source): watts by a meter or the firmware, and watts
// that a throttled machine no longer takes.
const (
	powerSigma     = .10
	throttledSigma = .22
	throttledShare = .92
)

// reading is the spread of the resistance that comes from the reading.
func (m *model) reading() (shift, sigma float64) {
	if m.seen.Signs[SignClock] == "throttled" {
		return throttledShare, throttledSigma
	}
	return 1, powerSigma
}

// tooWarm is how far in K the coolant stands above the room, with nothing
// wrong, where the radiator is too small (judgement: 18 K and more bring it to
// the 40 °C and above that pumps and tubes age by).
// WarmEnough is where it stands at a high load otherwise.
const tooWarm, warmEnough = 25, 11

// effects adds up what the faults of a hypothesis do to the path.
func (m *model) effects(h *hypothesis) (excess, late, factor spread) {
	for _, f := range h.faults {
		excess = excess.plus(f.inner)
		late = late.plus(f.inner.scaled(f.slow))
		if f.cause == Heat && m.seen.Power != nil {
			of := spread{tooWarm / float64(*m.seen.Power), .25}
			f.outer = spread{max(of.median/m.build.outer.median, 1.1), of.sigma}
		}
		if f.atLimit && m.seen.Power != nil {
			// Held at its limit with a radiator that is large enough.
			f.outer = spread{min(warmEnough/float64(*m.seen.Power)/m.build.outer.median, 1), .25}
		}
		if f.outer.median > 0 {
			if factor.median == 0 {
				factor = spread{1, 0}
			}
			factor = factor.times(f.outer)
		}
	}
	return excess, late, factor
}

// Below this resistance no cooling of a machine of this kind can be; the
// reading is wrong, or the coolant colder than the room.
const leastTotal = .06

// hottestDie is above any listed limit of a die that still runs but a few
// (Linux kernel documentation, coretemp: 70 to 125 °C).
const hottestDie = 112

// resistance is the likelihood of the resistance from die to room.
func (m *model) resistance(h *hypothesis) float64 {
	if m.total == nil {
		return 1
	}
	r := float64(*m.total)
	cause := h.faults[0].cause
	if cause == Sensor {
		switch {
		case r < leastTotal:
			return .10
		case *m.seen.Die > hottestDie:
			return 3
		}
		return spread{.34, .8}.density(r, 0)
	}
	if r < leastTotal {
		return 1e-5
	}
	if cause == None && r > float64(m.band.High) {
		return 0 // the band's upper end is where "no fault" ends
	}
	excess, _, factor := m.effects(h)
	shift, sigma := m.reading()
	sum := m.build.inner.plus(excess).plus(m.build.outer.times(factor)).scaled(shift)
	likelihood := sum.density(r, sigma)
	if cause == None && r < float64(m.band.Low) {
		likelihood += labelShare * sum.times(spread{labelWatts, labelSigma}).density(r, sigma)
	}
	return likelihood
}

// labelShare is how often the watts are those of a label or a limit and not
// what the machine takes, and labelWatts, with its spread, what that does to a
// resistance: a sound machine then seems better than its build can be (common
// practice, no source).
const labelShare, labelWatts, labelSigma = .4, .7, .15

// path fills in the path of the heat under a hypothesis. Where the resistance
// from die to room is known, what it has over or under the expected sum is
// shared out by how uncertain each part is (a normal update of a sum).
func (m *model) path(h *hypothesis) {
	excess, late, factor := m.effects(h)
	b := m.build
	inner, outer := b.inner, b.outer.times(factor)
	share := 0.0 // of the excess, that comes late
	if excess.median > 0 {
		share = late.median / excess.median
	}
	if m.total != nil && h.faults[0].cause != Sensor {
		shift, sigma := m.reading()
		r := float64(*m.total) / shift
		parts := [...]*spread{&inner, &excess, &outer}
		left, variance := r, sigma*r*sigma*r
		for _, p := range parts {
			mean, v := p.moments()
			left, variance = left-mean, variance+v
		}
		for _, p := range parts {
			if mean, v := p.moments(); mean > 0 {
				*p = ofMoments(max(mean+left*v/variance, mean/4), v*(1-v/variance))
			}
		}
	}
	h.ofNotice = m.noticed(h, excess, outer)
	h.inner, h.fast, h.slow, h.outer = inner.plus(excess), inner.plus(excess.scaled(1-share)), outer.plus(excess.scaled(share)), outer
}

// noticeable is how many kelvin a fault must cost before anybody comes with the
// machine (judgement).
const noticeable = 8

// noticed is how much likelier the faults of a hypothesis now cost that much
// than they do before anything was read: a small fault is there, but is not
// what the machine was brought for.
func (m *model) noticed(h *hypothesis, excess, outer spread) float64 {
	prior, _, factor := m.effects(h)
	if m.seen.Power == nil || prior.median == 0 && factor.median == 0 || h.faults[0].cause == Heat || h.faults[0].atLimit {
		return 1
	}
	least := noticeable / float64(*m.seen.Power)
	chance := func(excess, outer spread) float64 {
		return 1 - (1-excess.above(least, 0))*(1-outer.above(m.build.outer.median+least, 0))
	}
	return (chance(excess, outer) + .02) / (chance(prior, m.build.outer.times(factor)) + .02)
}

// Temperatures between which a die keeps its limit by design, and above which
// a reading worries people (common practice; newer desktop parts 89 to 105).
const (
	dieLimit   = 95
	limitSigma = 5
	worry      = 83
)

// circumstances is the likelihood of room, watts and the height of the die
// itself, which tell a hot room, much heat, and a limit from a fault.
func (m *model) circumstances(h *hypothesis) float64 {
	p, cause := 1.0, h.faults[0].cause
	if m.seen.Room != nil {
		room := float64(*m.seen.Room)
		usual := normal((room-22.5)/3.5)/3.5 + .002
		if cause == Room {
			p *= normal((room-34)/4)/4 + 1e-6
		} else {
			p *= usual
		}
	}
	if m.seen.Power != nil {
		watts, usual := float64(*m.seen.Power), m.build.power
		if cause == Heat || h.faults[0].atLimit {
			usual = m.build.capacity
		}
		p *= usual.density(watts, 0)
	}
	if m.seen.Die != nil {
		die := float64(*m.seen.Die)
		hot := rise(die, worry, 4)
		switch {
		case h.faults[0].atLimit:
			p *= 3*math.Exp(-(die-dieLimit)*(die-dieLimit)/(2*limitSigma*limitSigma)) + .02
		case cause == None || cause == Throttle:
			p *= 1 - .9*hot
		case cause == Heat || cause == Room:
			p *= .15 + .85*hot
		}
	}
	return p
}

// thermometers is by how many kelvin two may contradict each other before one of
// them is wrong (judgement): coolant warmer than the die, or cooler behind the
// plate than before it.
const thermometers = 5

// coolant is the likelihood of coolant temperatures, given the resistance
// from die to room where that is known.
func (m *model) coolant(h *hypothesis) float64 {
	s, p := m.seen, 1.0
	coolant := s.CoolantIn
	switch {
	case coolant == nil:
		coolant = s.CoolantOut
	case s.CoolantOut != nil:
		coolant = new(s.CoolantIn.Add(s.CoolantOut.Sub(*s.CoolantIn) / 2))
	}
	if coolant == nil || s.Power == nil || h.faults[0].stuck && s.Room == nil {
		return 1
	}
	if s.Die != nil && *coolant > s.Die.Add(thermometers) {
		if h.faults[0].cause == Sensor {
			return 1
		}
		return 1e-5
	}
	watts := float64(*s.Power)
	// part is the likelihood of one part of the path from a difference in K.
	part := func(difference float64, of spread) float64 {
		const noise = 1.0 // K, of a difference
		least := .25
		return of.density(max(difference, least)/watts, math.Hypot(powerSigma, noise/max(difference, 1)))
	}
	switch {
	case s.Room != nil && h.still():
		p *= spread{m.build.outer.median / 2, .9}.density(max(float64(coolant.Sub(*s.Room)), .25)/watts, powerSigma)
	case s.Room != nil:
		p *= part(float64(coolant.Sub(*s.Room)), h.outer)
	case s.Die != nil:
		p *= part(float64(s.Die.Sub(*coolant)), h.inner)
	}
	if s.CoolantIn != nil && s.CoolantOut != nil && h.still() {
		p /= 40 // any rise, or none
	} else if s.CoolantIn != nil && s.CoolantOut != nil {
		flow := m.build.flow
		for _, f := range h.faults {
			if f.flow > 0 {
				flow *= f.flow
			}
		}
		want := waterFlow * watts / flow // K across the plate, water
		sd := math.Hypot(m.build.flowSigma*want, 1)
		p *= normal((float64(s.CoolantOut.Sub(*s.CoolantIn))-want)/sd) / sd
	}
	return p + 1e-6
}

// parts is the likelihood of the fast and the slow part of a step in power. A
// stuck sensor shows neither.
func (m *model) parts(h *hypothesis) float64 {
	p := 1.0
	for _, x := range [...]struct {
		read *inspection.KelvinPerWatt
		of   spread
	}{{m.seen.Fast, h.fast}, {m.seen.Slow, h.slow}} {
		const least, noise = .01, .012 // K/W, of a reading in whole kelvin
		switch {
		case x.read == nil:
		case h.faults[0].stuck:
			p *= .01
		case h.still():
			p *= spread{.5, 1.2}.density(max(float64(*x.read), least), 0)
		default:
			v := max(float64(*x.read), least)
			p *= x.of.density(v, math.Hypot(stepSigma, noise/v)) + .002
		}
	}
	return p
}

func (h *hypothesis) still() bool {
	for _, f := range h.faults {
		if f.still {
			return true
		}
	}
	return false
}
