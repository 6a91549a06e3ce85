// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package triage goes from the symptoms of a hot machine to its likely causes
// and to the cheapest next thing to do ([Judge]). What is seen, felt and read
// is a [Seen]; the answer is a list of causes whose probabilities add to one
// and one step with its minutes.
//
// The model is a Bayesian one: priors of the causes, what each fault does to
// the path from die to room, and how often it shows each sign. All its figures
// and their sources stand in doc/triage.md. What is not known never counts,
// neither for a cause nor against it.
//
// Temperatures are °C, powers W, resistances K/W. The package is pure and safe
// for concurrent use. Impossible input is a [*chemistry.InvalidError].
package triage

import (
	"cmp"
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

// Cause is why a machine runs hot.
type Cause string

// The causes. None says that nothing is wrong, Sensor that the reading is,
// Throttle that a limit set on purpose is taken for a fault, Heat that the
// radiator is too small for the heat.
const (
	Pump     Cause = "pump"
	Clog     Cause = "clog"
	Mount    Cause = "mount"
	Paste    Cause = "paste"
	Dust     Cause = "dust"
	Fan      Cause = "fan"
	Air      Cause = "air"
	Sensor   Cause = "sensor"
	Throttle Cause = "throttle"
	Room     Cause = "room"
	Heat     Cause = "heat"
	None     Cause = "none"
)

// Causes lists them in the order of the contract.
func Causes() []Cause {
	return []Cause{Pump, Clog, Mount, Paste, Dust, Fan, Air, Sensor, Throttle, Room, Heat, None}
}

// Seen is what is known of a machine. The zero value of a field is "not
// known"; only Sealed has none.
type Seen struct {
	Sealed bool               `json:"sealed"` // a closed unit without reservoir; else a built loop
	Die    *chemistry.Celsius `json:"die_c,omitempty"`
	Room   *chemistry.Celsius `json:"room_c,omitempty"`
	// Power is the heat at the cold plate, as delivered while the die was read.
	Power *inspection.Watt `json:"power_w,omitempty"`
	// CoolantIn and CoolantOut are before and behind the plate.
	CoolantIn  *chemistry.Celsius `json:"coolant_in_c,omitempty"`
	CoolantOut *chemistry.Celsius `json:"coolant_out_c,omitempty"`
	// Fast and Slow are the die's rise for each watt of a step in power: inside
	// the first 10 s, and from there to the soak. An offset of the sensor or of
	// the room's reading drops out of both.
	Fast *inspection.KelvinPerWatt `json:"fast_k_w,omitempty"`
	Slow *inspection.KelvinPerWatt `json:"slow_k_w,omitempty"`
	// Own is the machine's own resistance from die to room when it was proved
	// good; nil takes the band of its build.
	Own *inspection.KelvinPerWatt `json:"own_k_w,omitempty"`
	// OwnRadiator is the part of Own from coolant to room, where it was read.
	OwnRadiator *inspection.KelvinPerWatt `json:"own_radiator_k_w,omitempty"`
	// OwnRise is the coolant's rise across the plate for each watt then, which
	// gives the flow; nil takes that of its build.
	OwnRise *inspection.KelvinPerWatt `json:"own_rise_k_w,omitempty"`
	Signs   map[Sign]Value            `json:"signs,omitempty"`
}

// Likely is one cause and how likely it is.
type Likely struct {
	Cause Cause `json:"cause"`
	// Probability is the share of the blame, 0 to 1: of two faults at once each
	// has half.
	Probability float64 `json:"probability"`
	Why         string  `json:"why"`
	// What is the likeliest form of the cause: "two fans blow at each other".
	What string `json:"what"`
}

// Two are two faults at once.
type Two struct {
	Causes      [2]Cause `json:"causes"`
	Probability float64  `json:"probability"`
}

// Answer are the causes, the likeliest first, and what to do next.
type Answer struct {
	Causes []Likely `json:"causes"`
	Next   Next     `json:"next"`
	// Told is false where what is known cannot tell a cause yet.
	Told bool `json:"told"`
	// Text is the answer in one sentence.
	Text string `json:"text"`
	// Both is the likeliest pair where two faults at once are likelier than one.
	Both *Two `json:"both,omitempty"`
	// Resistance is from die to room; nil where it cannot be worked out,
	// a die no warmer than the room included.
	Resistance *inspection.KelvinPerWatt `json:"resistance_k_w,omitempty"`
	Band       Band                      `json:"band_k_w"`
	// Cautions come before any step.
	Cautions []string `json:"cautions"`
}

// ToldFrom is the probability from which the first cause counts as told
// (judgement): below it the answer is "cannot tell yet".
const ToldFrom = 0.6

// Judge ranks the causes and picks the next step.
func Judge(seen Seen) (Answer, error) {
	if err := seen.validate(); err != nil {
		return Answer{}, err
	}
	m := newModel(seen)
	share := m.shares(m.posterior)
	answer := Answer{Band: m.band}
	if m.total != nil && *m.total > 0 {
		answer.Resistance = m.total
	}
	for i, c := range Causes() {
		answer.Causes = append(answer.Causes, Likely{Cause: c, Probability: share[i], Why: m.why(c), What: m.what(c)})
	}
	slices.SortStableFunc(answer.Causes, func(a, b Likely) int { return cmp.Compare(b.Probability, a.Probability) })
	first := answer.Causes[0]
	answer.Both = m.both()
	answer.Told = first.Probability >= ToldFrom || answer.Both != nil && answer.Both.Probability >= ToldFrom
	if m.bare() && !(m.impossible() && first.Cause == Sensor) {
		answer.Told = false // three figures cannot tell a cause, but that they cannot be
	}
	answer.Next = m.next()
	answer.Text = text(answer)
	answer.Cautions = cautions(seen, answer)
	return answer, nil
}

// text is the answer in one sentence.
func text(a Answer) string {
	first, second := a.Causes[0], a.Causes[1]
	switch {
	case a.Told && a.Both != nil && a.Both.Probability >= ToldFrom:
		return fmt.Sprintf("Two faults at once, %s and %s (%.0f %%).", a.Both.Causes[0], a.Both.Causes[1], 100*a.Both.Probability)
	case a.Told && first.Cause == None:
		return fmt.Sprintf("No fault shows (%.0f %%).", 100*first.Probability)
	case a.Told:
		return fmt.Sprintf("%s (%.0f %%).", capital(first.What), 100*first.Probability)
	}
	return fmt.Sprintf("Cannot tell yet: %s (%.0f %%) or %s (%.0f %%).", first.Cause, 100*first.Probability, second.Cause, 100*second.Probability)
}

// cautions are said before any step is done; common practice.
func cautions(seen Seen, a Answer) []string {
	out := []string{"While it runs touch only its tubes, its radiator and the outside of its pump; keep fingers, sleeves and tools away from fans, and hot parts burn. " +
		"For all else switch off, unplug and let it cool. The coolant's safety data sheet and local rules come first; mains parts are for those who may open them."}
	if seen.Signs[SignPump] == "stopped" || a.Causes[0].Cause == Pump && a.Told {
		out = append(out, "With the pump stopped the die reaches its limit within a minute or two: power down before anything else.")
	}
	return out
}

func (s Seen) validate() error {
	for _, t := range [...]struct {
		field string
		value *chemistry.Celsius
	}{{"die", s.Die}, {"room", s.Room}, {"coolant in", s.CoolantIn}, {"coolant out", s.CoolantOut}} {
		if t.value != nil && !(*t.value >= -60 && *t.value <= 150) {
			return invalid(t.field, fmt.Sprint(float64(*t.value)), "-60 to 150 °C")
		}
	}
	if s.Room != nil && !(*s.Room >= -20 && *s.Room <= 60) {
		return invalid("room", s.Room.String(), "-20 to 60 °C; in °F?")
	}
	if in, out := s.CoolantIn, s.CoolantOut; in != nil && out != nil && *out < *in-thermometers {
		return invalid("coolant out", out.String(), "not below coolant in, "+in.String()+"; are the two swapped?")
	}
	if s.Power != nil && !(*s.Power > 0 && *s.Power <= 1e6) {
		return invalid("power", fmt.Sprint(float64(*s.Power)), "more than 0 and at most 1000000 W")
	}
	if s.Own != nil && !(*s.Own > 0 && *s.Own <= 10) {
		return invalid("own resistance", fmt.Sprint(float64(*s.Own)), "more than 0 and at most 10 K/W")
	}
	if s.OwnRise != nil && !(*s.OwnRise > 0 && *s.OwnRise <= 10) {
		return invalid("own rise", fmt.Sprint(float64(*s.OwnRise)), "more than 0 and at most 10 K/W")
	}
	if r := s.OwnRadiator; r != nil && (s.Own == nil || !(*r > 0 && *r < *s.Own)) {
		return invalid("own radiator resistance", fmt.Sprint(float64(*r)), "more than 0 and less than the own resistance from die to room")
	}
	for _, r := range [...]struct {
		field string
		value *inspection.KelvinPerWatt
	}{{"fast part of the step", s.Fast}, {"slow part of the step", s.Slow}} {
		if r.value != nil && !(*r.value >= -1 && *r.value <= 20) {
			return invalid(r.field, fmt.Sprint(float64(*r.value)), "-1 to 20 K/W")
		}
	}
	for sign, value := range s.Signs {
		q, ok := QuestionOf(sign)
		if !ok {
			return invalid("sign", string(sign), "one of the signs of the triage")
		}
		if value != Unknown && value != "" && !slices.Contains(q.Values, value) {
			return invalid(string(sign), string(value), "one of "+q.choices())
		}
	}
	return nil
}

func invalid(field, value, reason string) error {
	return &chemistry.InvalidError{Field: field, Value: value, Reason: reason}
}
