// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"math"

	"fillmark/loops"
	"fillmark/loops/inspection"
)

// limitSource is where the limit of a resistance is from.
const limitSource = "this loop's own readings; limit 1.3 times their baseline (judgement of the workshop trade, no source)"

// InspectionReading returns a technician's readings as the inspection package
// takes them, of a loop with the charge; nil where that is not known.
func InspectionReading(x loops.Inspection, charge *loops.Charge) inspection.Reading {
	r := x.Reading()
	if charge != nil {
		r.Fluid, r.Mass = charge.Fluid, charge.Mass
	}
	if x.Mass != nil {
		r.Mass = x.Mass
	}
	return r
}

// Resistance is one row of readings of a loop that compare; the Day of a value
// counts from the fill.
type Resistance struct {
	Name   string
	Values []inspection.Dated
}

// Resistances are the rows of a charge, of readings that count in a trend:
// since the fill, or since the last repair proved by readings.
type Resistances struct {
	Mount, Radiator, Total Resistance
	// Rise is the rise of the coolant across the plate by the heat.
	Rise Resistance
}

// ResistancesOf gathers the rows of a charge from its loop's whole history.
func ResistancesOf(charge loops.Charge, history []loops.Entry) Resistances {
	return resistancesOf(charge, loops.SinceCharge(history))
}

func resistancesOf(charge loops.Charge, since []loops.Entry) Resistances {
	names := Resistances{Mount: Resistance{Name: "mount resistance"}, Radiator: Resistance{Name: "radiator resistance"},
		Total: Resistance{Name: "total resistance"}, Rise: Resistance{Name: "rise across the plate by heat"}}
	rows := names
	for _, e := range since {
		switch e.Kind {
		case loops.KindProof:
			rows = names
			rows.take(charge, e.Day, &e.Proof.After)
		case loops.KindInspection:
			rows.take(charge, e.Day, e.Inspection)
		}
	}
	return rows
}

func (r *Resistances) take(charge loops.Charge, day loops.Day, x *loops.Inspection) {
	reading := InspectionReading(*x, &charge)
	if reading.ForTrend(0) != nil {
		return
	}
	f, err := inspection.Read(reading)
	if err != nil {
		return // readings that no instrument gives do not move a plan
	}
	add := func(row *Resistance, value inspection.KelvinPerWatt) {
		row.Values = append(row.Values, inspection.Dated{Day: float64(day.Sub(charge.FilledTo)), Value: value, Power: *reading.Power})
	}
	for _, row := range []struct {
		into *Resistance
		m    *inspection.Measured[inspection.KelvinPerWatt]
	}{{&r.Mount, f.Mount}, {&r.Radiator, f.Radiator}, {&r.Total, f.Total}} {
		if row.m != nil {
			add(row.into, row.m.Value)
		}
	}
	if reading.CoolantIn != nil && reading.CoolantOut != nil {
		rise := reading.CoolantOut.Sub(*reading.CoolantIn)
		add(&r.Rise, inspection.KelvinPerWatt(float64(rise)/float64(*reading.Power)))
	}
}

// Watched returns the rows that bring a service check forward: mount and
// radiator once each has a baseline, since they tell more than their sum, and
// the total unless both go back as far as it does.
func (r Resistances) Watched() []Resistance {
	var watched []Resistance
	comparable := func(row Resistance) int { return len(inspection.Comparable(row.Values)) }
	whole := 0 // of the two, that say all that the total does
	for _, row := range []Resistance{r.Mount, r.Radiator} {
		if n := comparable(row); n >= inspection.BaselineReadings {
			watched = append(watched, row)
			if n >= comparable(r.Total) {
				whole++
			}
		}
	}
	if whole < 2 {
		watched = append(watched, r.Total)
	}
	return watched
}

// CrossingDay returns the civil day of a value's Day, within a century of the
// fill.
func CrossingDay(charge loops.Charge, day float64) loops.Day {
	return charge.FilledTo.AddDays(int(math.Floor(max(-36500, min(36500, day)))))
}

// drift adds the day on which a resistance may have reached its limit, the
// early end of its interval, and a finding where it has.
func (p *planner) drift() {
	if len(p.in.History) == 0 {
		return
	}
	for _, row := range resistancesOf(p.charge, p.sinceCharge()).Watched() {
		values := inspection.Comparable(row.Values)
		base, err := inspection.Baseline(values)
		if err != nil {
			continue
		}
		last := values[len(values)-1]
		limit := inspection.LimitFactor * base
		day := func(x float64) loops.Day { return CrossingDay(p.charge, x) }
		if last.Value > limit {
			p.add(loops.ServiceCheck, loops.Clause{
				Kind: loops.ByFinding, Day: day(last.Day), Source: limitSource, Grade: GradeRecord,
				Text: fmt.Sprintf("The %s is %s, above its limit %s (1.3 times the baseline %s); read on %s.",
					row.Name, last.Value, limit, base, day(last.Day).Long()),
				OwnerText: "The cooling has become weaker than it was after the refill.",
			})
			continue
		}
		o, err := inspection.LookAhead(row.Values)
		if err != nil {
			continue // the loop's page says why there is no trend
		}
		due := day(o.Crossing.Earliest)
		if seen := day(last.Day); !due.After(seen) {
			due = seen.AddDays(1) // it was below the limit then
		}
		guess := ""
		if o.Crossing.Far {
			guess = ", further off than twice the time the readings cover: a guess"
		}
		p.add(loops.ServiceCheck, loops.Clause{
			Kind: loops.ByTrend, Day: due, Source: limitSource, Grade: GradeComputed,
			Text: fmt.Sprintf("The %s rises by %.4f K/W a year and may reach its limit %s (1.3 times the baseline %s) by this day, most likely on %s%s; %d readings, Theil-Sen slope with its 90 %% interval, p %.2g.",
				row.Name, o.Trend.Slope*365.25, o.Limit, o.Baseline, day(o.Crossing.At).Long(), guess, o.Trend.N, o.Trend.P),
			OwnerText: "The cooling gets weaker little by little; the workshop wants to look before it matters.",
		})
	}
}
