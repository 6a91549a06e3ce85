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
	r := inspection.Reading{Die: x.Die, CoolantIn: x.CoolantIn, CoolantOut: x.CoolantOut, Room: x.Room, Steady: x.Steady}
	if x.PowerW != nil {
		r.Power = new(inspection.Watt(*x.PowerW))
	}
	if x.PumpW != nil {
		r.Pump = inspection.Watt(*x.PumpW)
	}
	if charge != nil {
		r.Fluid, r.Mass = charge.Fluid, charge.Mass
	}
	if x.Mass != nil {
		r.Mass = x.Mass
	}
	return r
}

// resistance is one row of comparable readings.
type resistance struct {
	name   string
	values []inspection.Dated
}

// resistances gathers the rows of mount, radiator and total resistance since
// the fill, or since the last repair that was proved by readings.
func (p *planner) resistances() []resistance {
	mount, radiator, total := resistance{name: "mount resistance"}, resistance{name: "radiator resistance"}, resistance{name: "total resistance"}
	take := func(day loops.Day, x *loops.Inspection) {
		r := InspectionReading(*x, &p.charge)
		if r.ForTrend(0) != nil {
			return
		}
		f, err := inspection.Read(r)
		if err != nil {
			return // readings that no instrument gives do not move a plan
		}
		at := float64(day.Sub(p.charge.FilledTo))
		for _, row := range []struct {
			into *resistance
			m    *inspection.Measured[inspection.KelvinPerWatt]
		}{{&mount, f.Mount}, {&radiator, f.Radiator}, {&total, f.Total}} {
			if row.m != nil {
				row.into.values = append(row.into.values, inspection.Dated{Day: at, Value: row.m.Value, Power: *r.Power})
			}
		}
	}
	for _, e := range p.sinceFill() {
		switch e.Kind {
		case loops.KindProof:
			mount.values, radiator.values, total.values = nil, nil, nil
			take(e.Day, &e.Proof.After)
		case loops.KindInspection:
			take(e.Day, e.Inspection)
		}
	}
	if len(mount.values) > 0 || len(radiator.values) > 0 {
		return []resistance{mount, radiator} // they tell more than their sum
	}
	return []resistance{total}
}

// drift adds the day on which a resistance may have reached its limit, the
// early end of its interval, and a finding where it has.
func (p *planner) drift() {
	if len(p.in.History) == 0 {
		return
	}
	for _, row := range p.resistances() {
		values := inspection.Comparable(row.values)
		base, err := inspection.Baseline(values)
		if err != nil {
			continue
		}
		last := values[len(values)-1]
		limit := inspection.LimitFactor * base
		day := func(x float64) loops.Day {
			return p.charge.FilledTo.AddDays(int(math.Floor(max(-36500, min(36500, x)))))
		}
		if last.Value > limit {
			p.add(loops.ServiceCheck, loops.Clause{
				Kind: loops.ByFinding, Day: day(last.Day), Source: limitSource, Grade: GradeRecord,
				Text: fmt.Sprintf("The %s is %s, above its limit %s (1.3 times the baseline %s); read on %s.",
					row.name, last.Value, limit, base, day(last.Day).Long()),
				OwnerText: "The cooling has become weaker than it was after the refill.",
			})
			continue
		}
		o, err := inspection.LookAhead(row.values)
		if err != nil {
			continue // no trend, and why, is for the inspection page
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
				row.name, o.Trend.Slope*365.25, o.Limit, o.Baseline, day(o.Crossing.At).Long(), guess, o.Trend.N, o.Trend.P),
			OwnerText: "The cooling gets weaker little by little; the workshop wants to look before it matters.",
		})
	}
}
