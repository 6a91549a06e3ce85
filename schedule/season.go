// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"

	"fillmark/chemistry"
	"fillmark/loops"
)

// thinMargin is how far the freeze point should lie below the coldest wall
// (makers' guidance for antifreeze: 5 K below the lowest ambient).
const (
	thinMargin   chemistry.CelsiusDelta = 5
	marginSource                        = "makers' guidance for antifreeze: freeze point at least 5 K below the lowest temperature"
)

// seasonAhead is how many days before the first frost the check is due, and
// seasonFresh within how many before that a strength counts as just measured
// (common practice, no source).
const (
	seasonAhead = 14
	seasonFresh = 60
)

// season adds a check before the first frost where the charge is near its
// limit or of unknown strength, and something in the loop can freeze; where it is
// known to freeze there, a finding of the day on which that was known. Where
// nobody said how cold it gets the check asks: a loop stands neither indoors
// nor outdoors until somebody says so. The wall of a chiller's evaporator is as
// cold in summer, so no season is waited for.
func (p *planner) season() {
	frost, loop := p.in.Policy.FirstFrost, p.in.Loop
	if loop.NoFrost {
		return
	}
	wall, known := loop.Wall()
	evaporator := known && (loop.ColdestWall == nil || wall < *loop.ColdestWall)
	since, measured := p.strengthKnown()
	switch {
	case !known && frost != (loops.MonthDay{}):
		p.add(loops.ServiceCheck, loops.Clause{
			Kind: loops.BySeason, Day: beforeFrost(frost, since, false), Source: askSource, Grade: GradeCommon,
			Text:      fmt.Sprintf("Nobody said how cold the coldest wetted wall gets: ask before the first frost, expected on %s; filled on %s.", frost, p.charge.FilledTo.Long()),
			OwnerText: "We do not know how cold it gets where the machine is used, stored or carried. Tell us, so that the liquid in it cannot freeze; until then keep it from frost.",
		})
	case !known || !evaporator && frost == (loops.MonthDay{}):
	default:
		said, bears := p.margin(wall)
		if bears == bearsWell || evaporator && bears == bearsThinly {
			return
		}
		from := "filled on " + since.Long()
		if measured {
			from = "strength last measured on " + since.Long()
		}
		if topped := loop.State.LastTopUp; bears == bearsNot && topped.After(since) {
			since, from = topped, "topped up on "+topped.Long()
		}
		c := loops.Clause{
			Kind: loops.BySeason, Day: since, Source: marginSource, Grade: GradeMaker,
			Text:      fmt.Sprintf("The evaporator is as cold all year: %s; %s.", said, from),
			OwnerText: "The workshop checks that the liquid cannot freeze in it.",
		}
		switch {
		case evaporator:
		case bears == bearsNot:
			c.Kind = loops.ByFinding
			c.Text = fmt.Sprintf("It freezes at its coldest wall, the first frost is expected on %s: %s; %s.", frost, said, from)
		default:
			c.Day = beforeFrost(frost, since, bears == bearsThinly && (measured || p.mixedHere()))
			c.Text = fmt.Sprintf("Before the first frost, expected on %s: %s; %s.", frost, said, from)
			c.OwnerText = fmt.Sprintf("Before the first frost, about %s, the workshop checks that the liquid cannot freeze.", frost)
		}
		p.add(loops.ServiceCheck, c)
	}
}

// askSource is where the question for the coldest wall is from.
const askSource = "common practice, no source"

// strengthKnown returns the day the strength was last measured, else that of
// the fill.
func (p *planner) strengthKnown() (day loops.Day, measured bool) {
	day = p.charge.FilledTo
	for _, e := range p.sinceCharge() {
		if e.Kind == loops.KindInspection && e.Inspection.Mass != nil && !e.Day.Before(day) {
			day, measured = e.Day, true
		}
	}
	return day, measured
}

// mixedHere tells that the workshop mixed the charge and knew its strength,
// which is then as fresh on the day of the fill as a measured one.
func (p *planner) mixedHere() bool {
	return p.charge.Origin == loops.WorkshopFill && p.charge.Mass != nil
}

// beforeFrost returns the day of the check before the first frost after a day;
// where the strength was fresh then, the first for which it is not.
func beforeFrost(frost loops.MonthDay, from loops.Day, fresh bool) loops.Day {
	due := frost.In(from.Year).AddDays(-seasonAhead)
	for year := from.Year + 1; !due.After(from) || fresh && due.AddDays(-seasonFresh).Before(from); year++ {
		due = frost.In(year).AddDays(-seasonAhead)
	}
	return due
}

// bearing is whether a charge bears the cold of its wall.
type bearing int

const (
	bearsWell bearing = iota
	bearsThinly
	bearsNobodyKnows
	bearsNot
)

// margin says how far the charge protects below the wall, the bad end of both
// the strength and the freeze point, and whether that bears it.
func (p *planner) margin(wall chemistry.Celsius) (said string, bears bearing) {
	loop := p.in.Loop
	if loop.State.Charge.Mass == nil {
		return "the strength is not known", bearsNobodyKnows
	}
	protection := loop.Protection()
	if protection == nil {
		return "the freeze point is outside the published tables", bearsNobodyKnows
	}
	warm := protection.WarmEnd()
	left, side := wall.Sub(warm), "below"
	switch {
	case !protection.Holds:
		bears, left, side = bearsNot, -left, "above"
	case left < thinMargin:
		bears = bearsThinly
	}
	return fmt.Sprintf("first ice at %s at worst, %.1f K %s the coldest wall of %s", warm, left, side, wall), bears
}
