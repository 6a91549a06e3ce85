// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection

import (
	"fmt"
	"math"
)

// Class is what a temperature log after a load step says about a loop.
type Class string

// The classes. Flow present says only that heat leaves the plate; it is never
// a flow.
const (
	MountSuspect  Class = "poor mount"
	NoFlowSeen    Class = "no flow"
	FlowUncertain Class = "uncertain"
	FlowPresent   Class = "flow present"
)

// The rule for a log of about 30 s (a five-node model of die, lid, plate,
// coolant and radiator; computed, not validated on hardware).
const (
	mountAbove   KelvinPerWatt  = 0.33 // (T(5 s) − T(0)) / P
	noFlowBelow  JoulePerKelvin = 150
	presentAbove JoulePerKelvin = 350

	jumpUntil   = 5.0  // s, what rises before it is the die, its lid and the mount
	windowUntil = 30.0 // s
	leastWindow = 15.0 // s, the shortest log that is judged
	slowestLog  = 5.0  // s between readings at most
)

// Transient is what a temperature log from a load step says.
type Transient struct {
	Class Class `json:"class"`
	// Power is the load that the log begins with.
	Power Watt `json:"power_w"`
	// Jump is (T(5 s) − T(0)) / P.
	Jump KelvinPerWatt `json:"jump_k_w"`
	// Capacity is the apparent heat capacity P/(dT/dt) from 5 s on; nil where
	// the temperature does not rise any more.
	Capacity *Measured[JoulePerKelvin] `json:"capacity_j_k,omitempty"`
	Rate     string                    `json:"rate"` // how often the model is right with such a class
	Text     string                    `json:"text"`
	Notes    []string                  `json:"notes,omitempty"`
	Refused  []Refusal                 `json:"refused,omitempty"`
}

// Analyse classifies a log that begins with a load step at the power given,
// more than 0 and at most 1000000 W; without one a temperature says nothing of
// resistance or heat capacity. It refuses, as a [Refusal], a log that is
// shorter than 15 s, has readings further apart than 5 s, or misses what the
// rule looks at.
func Analyse(l Log, power Watt) (Transient, error) {
	if !(power > 0 && power <= 1e6) {
		return Transient{}, invalid("power", float64(power), "more than 0 and at most 1000000 W")
	}
	t := Transient{Power: power, Notes: l.Notes}
	w, err := l.window()
	if err != nil {
		return Transient{}, err
	}
	t.Jump = KelvinPerWatt((w.five - l.Celsius[0]) / float64(t.Power))
	t.capacity(w)
	t.Class = t.classify()
	t.Rate = rate(t.Class)
	t.Refused = append(t.Refused, Refusal{"flow", "the heat capacity tells whether there is flow, never how much: at a tenth of the usual flow the model still reads flow present in 57 of 100 logs"})
	t.Text = t.words()
	return t, nil
}

// window is the part of a log that the rule looks at.
type window struct {
	five              float64 // temperature at 5 s
	slope, slopeError float64 // from 5 s on, K/s
}

func (l Log) window() (window, error) {
	const what = "class of the log"
	var w window
	n, previous := 0, 0.0
	var st, sc, stt, stc, scc float64
	reached := 0.0
	for i, t := range l.Seconds {
		if t-previous > slowestLog && previous < leastWindow {
			return w, Refusal{what, gapWhy(previous, t)}
		}
		if t > windowUntil {
			break
		}
		previous, reached = t, t
		c := l.Celsius[i]
		if t < jumpUntil {
			continue
		}
		if n == 0 {
			w.five = c
			if i > 0 {
				// Linear between the readings on both sides of 5 s.
				t0, c0 := l.Seconds[i-1], l.Celsius[i-1]
				w.five = c0 + (c-c0)*(jumpUntil-t0)/(t-t0)
			}
		}
		n++
		st, sc, stt, stc, scc = st+t, sc+c, stt+t*t, stc+t*c, scc+c*c
	}
	if reached < leastWindow || n < 4 {
		return w, Refusal{what, fmt.Sprintf("the log covers %s s with %d readings from 5 s on; at least %s s and 4 readings are needed", trim(reached, 1), n, trim(leastWindow, 0))}
	}
	count := float64(n)
	xx, xy, yy := stt-st*st/count, stc-st*sc/count, scc-sc*sc/count
	w.slope = xy / xx
	w.slopeError = math.Sqrt(max(0, yy-w.slope*xy) / (count - 2) / xx)
	return w, nil
}

// gapWhy says why nothing can be worked out across a gap in a log. A logger that
// writes milliseconds makes gaps of hundreds.
func gapWhy(from, to float64) string {
	why := fmt.Sprintf("no reading for %s s after %s s; at most %s s may pass", trim(to-from, 1), trim(from, 1), trim(slowestLog, 0))
	if to-from >= 100 {
		why += "; are these times milliseconds?"
	}
	return why
}

// capacity works out the apparent heat capacity where the temperature rises.
func (t *Transient) capacity(w window) {
	if w.slope <= 2*w.slopeError || w.slope <= 0 {
		t.Refused = append(t.Refused, Refusal{"heat capacity", "the temperature does not rise from 5 s on: the heat is carried off, or no load was on"})
		return
	}
	c := float64(t.Power) / w.slope
	share := root(2*w.slopeError/w.slope, DefaultPowerShare)
	t.Capacity = &Measured[JoulePerKelvin]{JoulePerKelvin(c), JoulePerKelvin(c * share)}
}

func (t *Transient) classify() Class {
	switch {
	case t.Jump > mountAbove:
		return MountSuspect
	case t.Capacity == nil || t.Capacity.Value > presentAbove:
		return FlowPresent
	case t.Capacity.Value < noFlowBelow:
		return NoFlowSeen
	}
	return FlowUncertain
}

// rate quotes the model: 400 draws for each fault, a sensor of whole degrees
// with 0.5 K of noise, a window of 30 s, power known to 20 %.
func rate(c Class) string {
	return map[Class]string{
		MountSuspect:  "the model finds a poor mount in 96 of 100 logs",
		NoFlowSeen:    "the model finds a standing loop in 98 to 99 of 100 logs",
		FlowPresent:   "the model finds flow where there is flow in 100 of 100 logs",
		FlowUncertain: "the model reads a tenth of the usual flow as uncertain in 42 of 100 logs",
	}[c]
}

func (t *Transient) words() string {
	switch t.Class {
	case MountSuspect:
		return fmt.Sprintf("The temperature jumps by %s within 5 s: the heat does not get into the plate. Look at the mount and the paste first.", t.Jump)
	case NoFlowSeen:
		return fmt.Sprintf("Only %s take up the heat: that is the plate and the coolant in it. Nothing carries the heat on.", t.Capacity.Value)
	case FlowPresent:
		if t.Capacity == nil {
			return "From 5 s on the temperature stands: the heat is carried off the plate as fast as it comes."
		}
		return fmt.Sprintf("%s take up the heat, more than the plate and the coolant in it have: something flows.", t.Capacity.Value)
	}
	return fmt.Sprintf("%s take up the heat: a little flow, or a large plate that stands. Log again, longer, and feel both tubes.", t.Capacity.Value)
}
