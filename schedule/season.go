// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"math"

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
// limit or of unknown strength, and something in the loop can freeze.
func (p *planner) season() {
	frost := p.in.Policy.FirstFrost
	wall, freezes := p.in.Loop.Wall()
	if frost == (loops.MonthDay{}) || !freezes {
		return
	}
	said, thin := p.margin(wall)
	if !thin {
		return
	}
	from, measured := p.charge.FilledTo, false
	for _, e := range p.sinceFill() {
		if e.Kind == loops.KindInspection && e.Inspection.Mass != nil && !e.Day.Before(from) {
			from, measured = e.Day, true
		}
	}
	due := frost.In(from.Year).AddDays(-seasonAhead)
	for year := from.Year + 1; !due.After(from) || measured && due.AddDays(-seasonFresh).Before(from); year++ {
		due = frost.In(year).AddDays(-seasonAhead)
	}
	since := "filled on " + from.Long()
	if measured {
		since = "strength last measured on " + from.Long()
	}
	p.add(loops.ServiceCheck, loops.Clause{
		Kind: loops.BySeason, Day: due, Source: marginSource, Grade: GradeMaker,
		Text:      fmt.Sprintf("Before the first frost, reckoned with on %s: %s; %s.", frost, said, since),
		OwnerText: fmt.Sprintf("Before the first frost, about %s, the workshop checks that the liquid cannot freeze.", frost),
	})
}

// margin says how far the charge protects below the wall, the bad end of both
// the strength and the freeze point, and whether that is thin.
func (p *planner) margin(wall chemistry.Celsius) (said string, thin bool) {
	c := p.charge
	if c.Mass == nil {
		return "the strength is not known", true
	}
	weak, err := chemistry.FreezePoint(c.Fluid, max(0, *c.Mass-c.MassUncertainty))
	nominal, err2 := chemistry.FreezePoint(c.Fluid, *c.Mass)
	if err != nil || err2 != nil {
		return "the freeze point is outside the published tables", true
	}
	by := float64(weak.Stated.Sub(nominal.Stated))
	warm := nominal.Stated.Add(chemistry.CelsiusDelta(math.Hypot(by, float64(nominal.Uncertainty))))
	left := wall.Sub(warm)
	return fmt.Sprintf("first ice at %s at worst, %.1f K below the coldest wall of %s", warm, max(0, float64(left)), wall), left < thinMargin
}
