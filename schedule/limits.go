// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// limitFits tells whether a limit is for the loop.
func (p *planner) limitFits(l loops.Limit) bool {
	return (len(l.Machines) == 0 || slices.Contains(l.Machines, p.in.Machine.Kind)) &&
		(len(l.Fluids) == 0 || slices.Contains(l.Fluids, p.charge.Fluid)) &&
		(len(l.Inhibitors) == 0 || slices.ContainsFunc(p.charge.Additives, func(a loops.Dosed) bool {
			return a.Role == loops.RoleInhibitor && slices.Contains(l.Inhibitors, a.Family)
		})) &&
		(l.Metal == "" || slices.Contains(p.in.Loop.Metals(), l.Metal))
}

// limits adds what the last readings of this charge call for. A value inside
// the limits adds nothing: it may warn, never clear.
func (p *planner) limits() {
	for _, r := range p.lastReadings() {
		for _, l := range p.in.Policy.Limits {
			if l.Quantity != r.quantity || l.Holds(r.value) || !p.limitFits(l) {
				continue
			}
			p.add(p.remedy(r.quantity), loops.Clause{
				Kind: loops.ByFinding, Day: r.day, Source: l.Source, Grade: l.Grade,
				Text:      fmt.Sprintf("%s %s where it should be %s; read on %s.", r.name, r.said, l, r.day.Long()),
				OwnerText: "A reading of the liquid was outside its limits; the workshop settles what to do.",
			})
		}
	}
}

// remedy is the task that puts a liquid right: what is sour gets its inhibitor
// renewed where that can be done; all else is a matter of the coolant.
func (p *planner) remedy(of loops.Quantity) loops.TaskKind {
	if of == loops.PH && p.holds(loops.InhibitorRenewal) {
		return loops.InhibitorRenewal
	}
	return loops.CoolantChange
}

// lastReading is the newest reading of one quantity.
type lastReading struct {
	quantity   loops.Quantity
	name, said string
	value      float64
	day        loops.Day
}

// lastReadings returns the newest pH and strength of this charge. A top-up does
// not clear what a pH says, which only a dose of inhibitor, another reading or
// a fill does. Of the strength it leaves what the balance makes of it, where
// there is one, else what was read.
func (p *planner) lastReadings() []lastReading {
	var ph, strength *lastReading
	read := func(m chemistry.MassFraction, day loops.Day) {
		if v, err := chemistry.VolumeFractionOf(p.charge.Fluid, m); err == nil && p.charge.Fluid.IsGlycol() {
			strength = &lastReading{loops.Strength, "Strength", v.String(), v.Percent(), day}
		}
	}
	for _, e := range p.sinceCharge() {
		switch e.Kind {
		case loops.KindTopUp:
			if strength != nil && p.charge.Mass != nil {
				read(*p.charge.Mass, strength.day)
			}
		case loops.KindDose:
			if e.Dose.Role == loops.RoleInhibitor {
				ph = nil
			}
		case loops.KindInspection:
			if e.Inspection.PH != nil {
				ph = &lastReading{loops.PH, "pH", fmt.Sprintf("%.1f", *e.Inspection.PH), *e.Inspection.PH, e.Day}
			}
			if m := e.Inspection.Mass; m != nil {
				read(*m, e.Day)
			}
		}
	}
	var out []lastReading
	for _, r := range []*lastReading{ph, strength} {
		if r != nil {
			out = append(out, *r)
		}
	}
	return out
}

// sinceCharge returns the standing entries of the present charge.
func (p *planner) sinceCharge() []loops.Entry {
	if p.since == nil {
		p.since = loops.SinceCharge(p.in.History)
	}
	return p.since
}
