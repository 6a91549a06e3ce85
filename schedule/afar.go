// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/inspection"
)

// Noise of what is read far from the bench, as standard deviations: K at the
// die, K at the room, and a share of the power (judgement; doc/triage.md).
const (
	afarDie, afarRoom = 1.0, 2.0
	afarPower         = 0.10
)

// learnt is how many weeks of a log are its measure, a quarter: what room and
// power are said to be is off by as much in every week.
const learnt = 13

// Afar is what was seen of a loop since its last valid proof without the
// machine on the bench: by its owner's answers and by temperature logs.
type Afar struct {
	Day    loops.Day // of the proof
	Proof  inspection.Measured[inspection.KelvinPerWatt]
	Proved inspection.Reading // of which the proof is
	// Answers and Weeks are in the order of their days.
	Answers, Weeks []AfarValue
	// Answered and Logged are the rises that were called; nil where none was.
	Answered, Logged *AfarCall
	// bench is what a technician read of the steady loop since.
	bench []AfarValue
}

// AfarValue is a resistance from die to room, k = 2.
type AfarValue struct {
	Day     loops.Day
	Value   inspection.Measured[inspection.KelvinPerWatt]
	Reading inspection.Reading // that it was worked out from
}

// AfarCall is a rise that was called.
type AfarCall struct {
	Day, Since loops.Day
	inspection.Called
	// Against is what it was measured against.
	Against inspection.KelvinPerWatt
}

// AfarOf gathers it from a loop's history; nil where no valid proof by die, room
// and power stands. What a technician measured after a call ends it: the watch
// begins again with the values after that day.
func AfarOf(history []loops.Entry) *Afar {
	var a *Afar
	var looked loops.Day
	weeks := map[loops.Day]weekOf{}
	for _, e := range loops.Standing(history) {
		switch e.Kind {
		case loops.KindFill, loops.KindDrain, loops.KindOpening, loops.KindSwap, loops.KindRetirement:
			a = nil
		case loops.KindProof:
			a, looked = afarSince(e), e.Day
			clear(weeks)
		case loops.KindInspection:
			if e.Inspection.Serves() {
				looked = e.Day
			}
			if r := e.Inspection.Reading(); a != nil && r.Steady {
				if f, err := inspection.Read(r); err == nil && f.Total != nil {
					a.bench = append(a.bench, AfarValue{e.Day, *f.Total, r})
				}
			}
		case loops.KindAnswer:
			if a != nil && e.Answer.Tells() {
				a.Answers = a.with(a.Answers, e.Day, *e.Answer.Die, *e.Answer.Room, *a.Proved.Power)
			}
		case loops.KindLog:
			for _, w := range e.TemperatureLog.Weeks {
				if kept, ok := weeks[w.Day]; !ok || w.Hours >= kept.Hours {
					weeks[w.Day] = weekOf{w, e.TemperatureLog}
				}
			}
		}
	}
	if a == nil {
		return nil
	}
	for day, w := range weeks {
		if day.Before(a.Day) {
			continue // it began before the proof
		}
		power := *a.Proved.Power
		if w.log.PowerW != nil {
			power = inspection.Watt(*w.log.PowerW)
		}
		room := w.log.Room
		if w.Room != nil {
			room = *w.Room
		}
		a.Weeks = a.with(a.Weeks, day, w.Warmest, room, power)
	}
	slices.SortFunc(a.Weeks, func(x, y AfarValue) int { return x.Day.Compare(y.Day) })
	a.Answered = a.watch(a.Proof.Value, a.Answers, looked)
	if len(a.Weeks) > learnt {
		a.Logged = a.watch(middle(a.Weeks[:learnt]), a.Weeks[learnt:], looked)
	}
	return a
}

type weekOf struct {
	loops.LogWeek
	log *loops.TemperatureLog
}

// afarSince begins at a proof; nil where it is not valid or is a chiller's.
func afarSince(e loops.Entry) *Afar {
	if !e.Proof.Valid() {
		return nil
	}
	proved := e.Proof.After.Reading()
	f, err := inspection.Read(proved)
	if err != nil || f.Total == nil {
		return nil
	}
	return &Afar{Day: e.Day, Proof: *f.Total, Proved: proved}
}

// with adds a value; a die that is not above its room tells none.
func (a *Afar) with(values []AfarValue, day loops.Day, die, room chemistry.Celsius, power inspection.Watt) []AfarValue {
	if die <= room || day.Before(a.Day) {
		return values
	}
	above := float64(die.Sub(room))
	v := above / float64(power)
	m := inspection.Measured[inspection.KelvinPerWatt]{
		Value:       inspection.KelvinPerWatt(v),
		Uncertainty: inspection.KelvinPerWatt(2 * v * inspection.CreepSigma(above, afarDie, afarRoom, afarPower)),
	}
	return append(values, AfarValue{day, m, inspection.Reading{Die: &die, Room: &room, Power: &power, Steady: true,
		TemperatureUncertainty: 2 * afarDie, PowerUncertainty: 2 * afarPower * power}})
}

// Latest is what was read last, from afar or on the bench; nil where nothing was
// since the proof.
func (a *Afar) Latest() (latest *AfarValue) {
	take := func(v AfarValue) {
		if latest == nil || !v.Day.Before(latest.Day) {
			latest = &v
		}
	}
	for _, values := range [][]AfarValue{a.Weeks, a.Answers, a.bench} {
		if n := len(values); n > 0 {
			take(values[n-1])
		}
	}
	return latest
}

// Sigma is the relative standard deviation of one value about the proof.
func (a *Afar) Sigma() float64 {
	return inspection.CreepSigma(float64(a.Proof.Value)*float64(*a.Proved.Power), afarDie, afarRoom, afarPower)
}

// middle is the geometric mean.
func middle(values []AfarValue) inspection.KelvinPerWatt {
	sum := 0.0
	for _, v := range values {
		sum += math.Log(float64(v.Value.Value))
	}
	return inspection.KelvinPerWatt(math.Exp(sum / float64(len(values))))
}

// watch runs the chart over the values after the day that a technician looked
// last; nil where it does not call.
func (a *Afar) watch(against inspection.KelvinPerWatt, values []AfarValue, looked loops.Day) *AfarCall {
	chart, err := inspection.WatchCreep(against, inspection.CreepSigma(float64(against)*float64(*a.Proved.Power), afarDie, afarRoom, afarPower))
	if err != nil {
		return nil // a proof that no instrument gives is no measure
	}
	for _, v := range values {
		if !v.Day.After(looked) {
			continue
		}
		called, err := chart.Add(float64(v.Day.Sub(a.Day)), v.Value.Value)
		if err == nil && called != nil {
			return &AfarCall{Day: v.Day, Since: a.Day.AddDays(int(called.Since)), Called: *called, Against: against}
		}
	}
	return nil
}

// Called is the first of the two calls; nil where there is none.
func (a *Afar) Called() *AfarCall {
	calls := []*AfarCall{a.Answered, a.Logged}
	calls = slices.DeleteFunc(calls, func(c *AfarCall) bool { return c == nil })
	if len(calls) == 0 {
		return nil
	}
	return slices.MinFunc(calls, func(x, y *AfarCall) int { return cmp.Or(x.Day.Compare(y.Day), cmp.Compare(y.Share, x.Share)) })
}

// afarSource is where a call is from.
const afarSource = "this machine's own temperatures; one-sided CUSUM (Page 1954; Montgomery and Runger, section 16-10)"

// afar brings the service check forward where a rise was called.
func (p *planner) afar() {
	a := AfarOf(p.in.History)
	if a == nil {
		return
	}
	for _, call := range []struct {
		*AfarCall
		from, against string
	}{
		{a.Answered, "By what the owner read", "the proof of " + a.Day.Long()},
		{a.Logged, "By its temperature logs", fmt.Sprintf("their first %d weeks", learnt)},
	} {
		if call.AfarCall == nil {
			continue
		}
		p.add(loops.ServiceCheck, loops.Clause{
			Kind: loops.ByFinding, Day: call.Day, Source: afarSource, Grade: GradeComputed,
			Text:      fmt.Sprintf("%s %s %s, %s; it began about %s.", call.from, call.Reason(), call.against, call.Against, call.Since.Long()),
			OwnerText: "By the temperatures that we were sent its cooling has become weaker, little by little; we want to look before it matters.",
		})
	}
}
