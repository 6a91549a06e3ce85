// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package triage

import "slices"

// touch is how often tubes and radiator feel how under a hypothesis. Both hang
// on one temperature, that of the coolant, and so are weighed together.
type touch struct {
	level          [3]float64 // coolant cool, warm, hot to the hand
	oneHot, uneven float64
}

// What feels warm and what hot, in °C and K above the room (from memory: skin
// is near 32 °C, and above about 45 °C most take the hand away), the spread of
// hands as standard deviation of a logarithm, and how often a sound machine's
// tubes and radiator feel uneven.
const (
	warmFrom, warmAbove = 29, 5
	hotFrom             = 43
	handSigma           = .40
	soundOneHot         = .02
	soundUneven         = .04
)

// touchOf works out how a hypothesis feels.
func (m *model) touchOf(h *hypothesis) touch {
	t := touch{oneHot: soundOneHot, uneven: soundUneven}
	for _, f := range h.faults {
		if f.oneHot > 0 {
			t.oneHot = 1 - (1-t.oneHot)*(1-f.oneHot)
		}
		if f.uneven > 0 {
			t.uneven = 1 - (1-t.uneven)*(1-f.uneven)
		}
	}
	if h.still() {
		t.level = [3]float64{.88, .10, .02}
		return t
	}
	room, watts, more := 22.5, m.build.power.median, m.build.power.sigma
	if m.seen.Room != nil {
		room = float64(*m.seen.Room)
	}
	if m.seen.Power != nil {
		watts, more = float64(*m.seen.Power), powerSigma
	}
	above := h.outer.scaled(watts) // K
	more = max(more, handSigma)
	warm := above.above(max(warmFrom-room, warmAbove), more)
	hot := min(above.above(hotFrom-room, more), warm)
	t.level = [3]float64{1 - warm, warm - hot, hot}
	return t
}

// What tubes and radiator are said to be at each level of the coolant, where
// they are even, in the order of their values.
func tubesAt(level, value int) float64 {
	return [3][2]float64{{.90, .10}, {.15, .85}, {.03, .97}}[level][value]
}

func radiatorAt(level, value int) float64 {
	return [3][3]float64{{.82, .17, .01}, {.12, .74, .14}, {.02, .18, .80}}[level][value]
}

// chance is how often tubes and radiator feel as given; -1 is not felt.
func (t touch) chance(tubes, radiator int) float64 {
	sum := 0.0
	for level, p := range t.level {
		if tubes == 2 {
			p *= t.oneHot
		} else if tubes >= 0 {
			p *= (1 - t.oneHot) * tubesAt(level, tubes)
		}
		if radiator == 3 {
			p *= t.uneven
		} else if radiator >= 0 {
			p *= (1 - t.uneven) * radiatorAt(level, radiator)
		}
		sum += p
	}
	return sum
}

// rows fills in how often a hypothesis shows each value of each question.
func (m *model) rows(h *hypothesis) {
	h.touch = m.touchOf(h)
	h.rows = make([][]float64, len(m.questions))
	for i, q := range m.questions {
		switch q.Sign {
		case SignClock:
			h.rows[i] = m.clock(h)
		case SignStep:
			h.rows[i] = m.step(h)
		case SignTubes, SignRadiator: // weighed together
		default:
			h.rows[i] = h.row(q)
		}
	}
}

// clock is how often the machine is throttled: by the height of its die,
// whatever the cause, and always where a limit of power holds it down.
func (m *model) clock(h *hypothesis) []float64 {
	throttled := .40
	if m.seen.Die != nil {
		throttled = .015 + .885*rise(float64(*m.seen.Die), 91, 2.5)
	}
	if f := h.faults[0]; f.cause == Throttle {
		throttled = .96
		if f.atLimit {
			throttled = .70
		}
	}
	return []float64{1 - throttled, throttled}
}

// stepSigma is the spread of a part of the path read from a step in power.
const stepSigma = .18

// step is what a step in power shows: as usual, jumps, climbs or frozen.
func (m *model) step(h *hypothesis) []float64 {
	frozen := .01
	if h.faults[0].stuck {
		frozen = .92
	}
	jumps := (1 - frozen) * h.fast.above(m.build.innerHigh, stepSigma)
	climbs := (1 - frozen - jumps) * h.slow.above(m.build.outerHigh, stepSigma)
	if h.still() {
		jumps, climbs = .12, .85
	}
	const slip = .02 // read wrongly
	return normalised([]float64{1 - frozen - jumps - climbs + slip, jumps + slip, climbs + slip, frozen})
}

// signs is the likelihood of what was seen and felt.
func (m *model) signs(h *hypothesis, seen map[Sign]Value) float64 {
	p, tubes, radiator := 1.0, -1, -1
	for i, q := range m.questions {
		at := slices.Index(q.Values, seen[q.Sign])
		switch {
		case at < 0:
		case q.Sign == SignTubes:
			tubes = at
		case q.Sign == SignRadiator:
			radiator = at
		default:
			p *= h.rows[i][at]
		}
	}
	return p * h.touch.chance(tubes, radiator)
}
