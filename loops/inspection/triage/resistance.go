// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import (
	"math"

	"fillmark/loops/inspection"
)

// Band is what a sound machine of a build shows from die to room, in K/W.
type Band struct {
	Low  inspection.KelvinPerWatt `json:"low"`
	High inspection.KelvinPerWatt `json:"high"`
	// Own tells that it is around the machine's own proved figure.
	Own bool `json:"own,omitempty"`
}

// spread is a lognormal figure: its median and the standard deviation of its
// logarithm. A zero median is no effect.
type spread struct{ median, sigma float64 }

// build is what sound machines of a build show.
type build struct {
	band Band
	// inner is from die to coolant, outer from coolant to room, with the upper
	// ends that a part counts as raised from.
	inner, outer         spread
	innerHigh, outerHigh float64
	flow, flowSigma      float64 // l/h; share of it
	power                spread  // W, where not known or to tell what is much
	capacity             spread  // W, heat that is too much for such a build
}

// builds gives the bands. Source: rows of the thermal figures, added up. Die to
// coolant 0.12 to 0.30 K/W with the package inside (common practice). Coolant
// to room, sealed: 0.03 (two strong 120 mm sections, B. Adams 2003, rounded
// up) to 0.10 (one 120 mm section at 1300 rpm); open: 0.02 (three strong
// sections, B. Adams 2003) to 0.06 (three at 750 rpm). Flows 30 to 120 and 80
// to 250 l/h (common practice).
func buildOf(seen Seen) build {
	b := build{
		band: Band{Low: .14, High: .36}, inner: spread{.19, .25}, outer: spread{.040, .30}, innerHigh: .30, outerHigh: .06,
		flow: 150, flowSigma: .5, power: spread{180, .5}, capacity: spread{400, .40},
	}
	if seen.Sealed {
		b.band = Band{Low: .15, High: .40}
		b.outer, b.outerHigh = spread{.055, .30}, .10
		b.flow, b.power, b.capacity = 60, spread{120, .5}, spread{215, .40}
	}
	if seen.OwnRise != nil {
		b.flow, b.flowSigma = waterFlow/float64(*seen.OwnRise), .2
	}
	if seen.Own != nil {
		scale := float64(*seen.Own) / (b.inner.median + b.outer.median)
		b.inner, b.outer = spread{b.inner.median * scale, .08}, spread{b.outer.median * scale, .25}
		if r := seen.OwnRadiator; r != nil {
			b.inner, b.outer = spread{float64(*seen.Own - *r), .08}, spread{float64(*r), .12}
		}
		b.innerHigh, b.outerHigh = inspection.LimitFactor*b.inner.median, inspection.LimitFactor*b.outer.median
		b.band = Band{Low: *seen.Own / inspection.LimitFactor, High: *seen.Own * inspection.LimitFactor, Own: true}
	}
	return b
}

// waterFlow is the flow of water in l/h that a watt warms by 1 K: 3600/(ρ cp).
const waterFlow = .86

// plus is the sum of two independent lognormal figures, again as one with the
// same mean and variance (Fenton 1960, from memory).
func (s spread) plus(o spread) spread {
	switch {
	case s.median == 0:
		return o
	case o.median == 0:
		return s
	}
	mean, variance := s.moments()
	m, v := o.moments()
	return ofMoments(mean+m, variance+v)
}

// ofMoments is the lognormal figure with a mean, which is positive, and a
// variance.
func ofMoments(mean, variance float64) spread {
	sigma2 := math.Log1p(variance / (mean * mean))
	return spread{mean * math.Exp(-sigma2/2), math.Sqrt(sigma2)}
}

func (s spread) moments() (mean, variance float64) {
	s2 := s.sigma * s.sigma
	mean = s.median * math.Exp(s2/2)
	return mean, mean * mean * math.Expm1(s2)
}

// times is the product of two; a zero median is the factor one.
func (s spread) times(factor spread) spread {
	if factor.median == 0 {
		return s
	}
	return spread{s.median * factor.median, math.Hypot(s.sigma, factor.sigma)}
}

func (s spread) scaled(by float64) spread { return spread{s.median * by, s.sigma} }

// density is that of the logarithm of v, which must be positive, with more
// spread from the reading itself.
func (s spread) density(v, reading float64) float64 {
	sigma := math.Hypot(s.sigma, reading)
	return normal((math.Log(v)-math.Log(s.median))/sigma) / sigma
}

// above is the chance to lie above v, with more spread from the reading.
func (s spread) above(v, reading float64) float64 {
	switch {
	case s.median <= 0:
		return 0
	case v <= 0:
		return 1
	}
	return tail((math.Log(v) - math.Log(s.median)) / math.Hypot(s.sigma, reading))
}

// normal is the standard normal density, tail its upper tail.
func normal(z float64) float64 { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
func tail(z float64) float64   { return math.Erfc(z/math.Sqrt2) / 2 }

// rise is a soft step from 0 to 1 around a middle.
func rise(v, middle, width float64) float64 { return 1 / (1 + math.Exp(-(v-middle)/width)) }
