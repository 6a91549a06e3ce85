// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Readings are figures taken without opening the loop.
type Readings struct {
	Doing
	loops.Inspection
}

func readingsAct() Definition {
	return define(Definition{
		Name: "readings", Done: "Read", Kind: loops.KindInspection,
		Short: "Write down readings taken without opening the loop",
		Long: `A technician's die, room and power, judged good, make a proved loop known good.
Enter a strength here only as an instrument read it; one worked out from what was
poured belongs to the fill.`,
		Examples: []string{"7K3QXW --die 61C --room 20C --power 90W --steady --verdict good", "7K3QXW --mass 41%±0.5% --gap 20ml"},
	}, append(thermalFields("", "", func(a *Readings) *loops.Inspection { return &a.Inspection }), fields[Readings]{
		may(Field{Name: "mass", Also: []string{"strength"}, Label: "strength", Help: "glycol mass % as an instrument read it on a sample", Example: "41%"}, massPercent(), func(a *Readings) **chemistry.MassFraction { return &a.Mass }),
		one(Field{Name: "mass-uncertainty", Also: []string{"strength uncertainty"}, Label: "±", Help: "how sure that strength is, mass % (k = 2)", Example: "0.5%"}, massPercent(), func(a *Readings) *chemistry.MassFraction { return &a.MassUncertainty }),
		one(Field{Name: "instrument", Also: []string{"strength known by"}, Label: "with", Help: "what the strength was read with", Example: "refractometer"}, words(), func(a *Readings) *string { return &a.MassKnown.By }),
		may(Field{Name: "ph", Also: []string{"pH"}, Label: "pH", Help: "pH of a sample", Example: "7.9"}, plain("NUMBER", ""), func(a *Readings) **float64 { return &a.PH }),
		may(Field{Name: "gap", Also: []string{"missing"}, Label: "below the fill mark by", Help: "how much liquid is missing to the fill mark", Example: "20ml"}, volume(), func(a *Readings) **chemistry.Litre { return &a.Missing }),
		may(Field{Name: "weight", Label: "weight", Help: "what the scale shows with the machine or cooler on it", Example: "1530g"}, mass(), func(a *Readings) **chemistry.Kilogram { return &a.Weight }),
		may(Field{Name: "hour-meter", Also: []string{"running hours"}, Label: "hour meter", Help: "hour meter, where there is one", Example: "8120h"}, plain("HOURS", "h"), func(a *Readings) **float64 { return &a.RunningHours }),
		one(Field{Name: "noise", Label: "noise", Help: "what was heard"}, words(), func(a *Readings) *string { return &a.Noise }),
		one(Field{Name: "verdict", Label: "judged", Help: "what you make of the loop as a whole (not judged unless said)"}, choice("VERDICT", judgements()), func(a *Readings) *loops.Judgement { return &a.Verdict }),
	}...), func(e loops.Entry) Readings { return Readings{Inspection: *e.Inspection} })
}

func judgements() []loops.Judgement {
	return []loops.Judgement{loops.Good, loops.Watch, loops.Failed, loops.NotJudged}
}

// thermalFields are the readings that tell heat, for readings by themselves and
// for both sides of a proof.
func thermalFields[A any](prefix, when string, at func(*A) *loops.Inspection) fields[A] {
	f := func(name, also, label, help, example string) Field {
		if prefix != "" {
			also = strings.TrimSuffix(prefix, "-") + " " + also
		}
		return Field{Name: prefix + name, Also: []string{also}, Label: label + when, Help: help + when, Example: example}
	}
	return fields[A]{
		may(f("die", "die", "die", "hottest die or heat source", "61C"), temperature(), func(a *A) **chemistry.Celsius { return &at(a).Die }),
		may(f("coolant-in", "coolant in", "coolant in", "coolant into the cold plate, which is what leaves a chiller", "31C"), temperature(), func(a *A) **chemistry.Celsius { return &at(a).CoolantIn }),
		may(f("coolant-out", "coolant out", "coolant out", "coolant out of the cold plate, which is what comes back to a chiller", "33C"), temperature(), func(a *A) **chemistry.Celsius { return &at(a).CoolantOut }),
		may(ofChiller(f("set-point", "set point", "set point", "set point of a chiller", "12C")), temperature(), func(a *A) **chemistry.Celsius { return &at(a).SetPoint }),
		may(f("room", "room", "room", "air into the radiator", "20C"), temperature(), func(a *A) **chemistry.Celsius { return &at(a).Room }),
		may(f("power", "power", "heat", "heat at the cold plate", "90W"), plain("POWER", "W"), func(a *A) **float64 { return &at(a).PowerW }),
		may(f("pump-power", "pump power", "pump", "electrical power of the pump", "4W"), plain("POWER", "W"), func(a *A) **float64 { return &at(a).PumpW }),
		one(f("steady", "steady", "steady", "the coolant drifted less than 0.1 K per minute", ""), truth(), func(a *A) *bool { return &at(a).Steady }),
	}
}

func ofChiller(f Field) Field {
	f.OfChiller = true
	return f
}

// Check refuses readings in which nothing was read or that cannot be, and
// readings of a loop that left service.
func (a *Readings) Check(s Snapshot, today loops.Day) error {
	x := a.read(s)
	if x.Empty() {
		return wrong("readings", "none", "at least one figure, or what you make of the loop (verdict)")
	}
	chilled := s.Machine.Kind.IsChiller() || x.CoolantIn != nil && x.Room != nil && *x.CoolantIn < *x.Room
	if !chilled && x.Comparable() && *x.PowerW > 0 && *x.Die <= *x.Room {
		return wrong("die", x.Die.String(), "warmer than the room, "+x.Room.String()+", which takes its heat; where a chiller does, read the coolant going in too")
	}
	if x.CoolantIn != nil && x.CoolantOut != nil && x.PowerW != nil && *x.PowerW > 0 && *x.CoolantOut < *x.CoolantIn-readApart {
		return wrong("coolant-out", x.CoolantOut.String(), "no colder than the coolant in, "+x.CoolantIn.String()+", which takes up heat: are the two swapped?")
	}
	if x.Missing != nil {
		if err := s.gap(*x.Missing); err != nil {
			return err
		}
	}
	return s.returned(a.on(today), loops.KindInspection)
}

// readApart is how far two thermometers in one liquid may be apart (common
// practice, no source).
const readApart chemistry.Celsius = 1

// read is the inspection with its judgement said.
func (a *Readings) read(s Snapshot) loops.Inspection {
	x := a.Inspection
	s.setPoint(&x)
	if x.Verdict == "" {
		x.Verdict = loops.NotJudged
	}
	if x.Mass != nil {
		x.MassKnown.How = loops.Measured
	}
	return x
}

// Judge says what the readings cannot stand for.
func (a *Readings) Judge(s Snapshot, today loops.Day) []Reason {
	var reasons []Reason
	add := func(v chemistry.Verdict, rule, text, way string) {
		reasons = append(reasons, byRecord(rule, v, text, way))
	}
	state, x := s.On(a.on(today)), a.read(s)
	if x.Mass != nil && state.Charge != nil && state.Charge.Fluid == "" {
		text := "nobody knows which fluid is in the loop, so no scale says how strong it is."
		if state.Contaminated != nil {
			text = "the loop is contaminated (" + state.Contaminated.String() + "): no scale reads a mixture."
		}
		add(chemistry.Stop, "no-scale", text, "Leave the strength out; drain, rinse and fill to know what is in it.")
	}
	reasons = append(reasons, s.meter(state, x.RunningHours)...)
	if x.Verdict == loops.Good && !x.Comparable() {
		add(chemistry.Care, "not-comparable", "a good without die, room and power makes no loop known good.", "Read die and room temperature and the power; of a chiller coolant in and out, set point and heat.")
	}
	if x.Verdict == loops.Good && x.Comparable() && state.Unproved() {
		add(chemistry.Care, "unproved", "no proof of the repair is on record, so these readings make the loop known good no longer than that is so.", "Record a proof with the readings from before the repair.")
	}
	if after := s.after(a, today); x.Mass != nil && after.Charge != nil && after.Charge.Fluid != "" {
		for _, r := range s.tooCold(after) {
			r.Verdict = chemistry.Care // a figure that was read is written down; what it says about the charge is another matter
			reasons = append(reasons, r)
		}
	}
	return reasons
}

// Apply writes them down.
func (a *Readings) Apply(s Snapshot, today loops.Day) loops.Change {
	x := a.read(s)
	return a.writes(loops.Entry{Kind: loops.KindInspection, Inspection: &x}, today)
}

// meter minds an hour meter that shows less than it did.
func (s Snapshot) meter(state loops.State, read *float64) []Reason {
	if read == nil || *read >= state.RunningHours {
		return nil
	}
	return []Reason{byRecord("hour-meter", chemistry.Care, "the hour meter showed "+figure(state.RunningHours)+" h before, and now "+figure(*read)+" h.",
		"Read it again. Where the meter was changed, say so in a note.")}
}

// short says how long a leak check was and how long it has to be.
func short(hours float64) string {
	return fmt.Sprintf("%g h are no leak check of %d h", hours, loops.LeakCheckHours)
}
