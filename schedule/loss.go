// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// What is made of a loss (common practice, no source): a top-up is due when 5 %
// of the volume is gone, a leak check when a loop loses more than twice what it
// lost before and the scale can tell.
const (
	lossShare    = 0.05
	lossFactor   = 2
	lossSource   = "this loop's own weighings and levels; 5 % of the volume: common practice, no source"
	lossCompared = "this loop's own weighings and levels; twice its own baseline: common practice, no source"
)

// lossOnScale is what a change of weight must exceed to be told, in g: scales
// that weigh a machine read to a gram at best.
const lossOnScale = 3

// shortestLoss is the shortest time, in days, that a yearly loss is worked out
// from.
const shortestLoss = 14

// span is what a loop lost between two looks at it.
type span struct {
	from, to loops.Day
	grams    float64
}

func (s span) days() float64    { return float64(s.to.Sub(s.from)) }
func (s span) perYear() float64 { return s.grams / s.days() * 365.25 }

// loss adds what the loop's own loss of liquid asks for.
func (p *planner) loss() {
	spans := p.spans()
	if len(spans) == 0 {
		return
	}
	all := span{from: spans[0].from, to: spans[len(spans)-1].to}
	watched := 0.0
	for _, s := range spans {
		all.grams += s.grams
		watched += s.days()
	}
	if all.grams > lossOnScale && watched >= shortestLoss {
		p.lossDue(all.grams/watched, spans, watched)
	}
	p.lossGrown(spans)
}

// lossDue adds the day on which too much will be gone, at the mean rate in g
// per day.
func (p *planner) lossDue(perDay float64, spans []span, watched float64) {
	density := chemistry.KilogramPerLitre(1)
	if p.charge.Mass != nil {
		if d, err := chemistry.LiquidDensity(p.charge.Fluid, *p.charge.Mass, 20); err == nil {
			density = d
		}
	}
	allowed := lossShare * density.Mass(p.in.Loop.Volume).Grams()
	from, said := p.charge.FilledTo, "filled on "
	if s := p.in.Loop.State; s.LastTopUp.After(from) {
		from, said = s.LastTopUp, "topped up on "
	}
	days := int(min(36500, allowed/perDay))
	p.add(loops.TopUpTask, loops.Clause{
		Kind: loops.ByLoss, Day: from.AddDays(days), Source: lossSource, Grade: GradeComputed,
		Text: fmt.Sprintf("Loses %.1f g a year (%d spans of %.0f days from %s to %s), so that %.0f %% of the volume, %.0f g, is gone by this day; %s%s.",
			perDay*365.25, len(spans), watched, spans[0].from, spans[len(spans)-1].to, 100*lossShare, allowed, said, from.Long()),
		OwnerText: "A little liquid is lost all the time; by this day it should be made up.",
	})
}

// lossGrown adds a leak check where a span lost more than twice what the ones
// before it did, and more than the scale can be wrong by. A calm span after it
// does not clear that, only a dry leak check.
func (p *planner) lossGrown(spans []span) {
	checked := p.in.Loop.State.LastLeakCheck
	for n, s := range spans[1:] {
		if s.days() < 1 || !checked.IsZero() && !checked.Before(s.to) {
			continue
		}
		rates := make([]float64, min(3, n+1))
		for i := range rates {
			rates[i] = spans[i].perYear()
		}
		slices.Sort(rates)
		base := max(0, rates[len(rates)/2])
		expected := base / 365.25 * s.days()
		if s.grams <= lossFactor*expected || s.grams-expected <= lossOnScale {
			continue
		}
		p.add(loops.LeakCheckTask, loops.Clause{
			Kind: loops.ByLoss, Day: s.to, Source: lossCompared, Grade: GradeRecord,
			Text: fmt.Sprintf("Lost %.1f g from %s to %s, %.0f g a year, where its own baseline is %.0f g a year; seen on %s.",
				s.grams, s.from.Long(), s.to.Long(), s.perYear(), base, s.to.Long()),
			OwnerText: "More liquid went missing than usual; the workshop wants to look for drips.",
		})
		return
	}
}

// spans returns what was lost between looks at the present charge, by weight
// where it was weighed, else by the level. Liquid added or taken out begins a new
// row.
func (p *planner) spans() []span {
	var weights, levels lossRow
	for _, row := range loops.WeighingRows(p.in.History) {
		weights.last = nil
		for _, w := range row {
			weights.look(w.Day, -w.Weight.Grams())
		}
	}
	if len(weights.spans) > 0 {
		return weights.spans
	}
	for _, e := range p.sinceCharge() {
		switch e.Kind {
		case loops.KindFill:
			if missing, ok := p.missingAtFill(e); ok {
				levels.look(p.charge.FilledTo, missing.Millilitres())
			}
		case loops.KindTopUp:
			levels.last = nil
			levels.look(e.Day, e.TopUp.Missing.Millilitres())
		case loops.KindInspection:
			if m := e.Inspection.Missing; m != nil {
				levels.look(e.Day, m.Millilitres())
			}
		}
	}
	return levels.spans
}

// lossRow gathers the spans of one way to look. Millilitres of a level count as
// grams: what evaporates is water.
type lossRow struct {
	spans []span
	last  *struct {
		day  loops.Day
		lost float64
	}
}

// look adds a look at which so many grams had been lost since any fixed level.
func (r *lossRow) look(day loops.Day, lost float64) {
	if r.last != nil && day.After(r.last.day) {
		r.spans = append(r.spans, span{r.last.day, day, lost - r.last.lost})
	}
	r.last = &struct {
		day  loops.Day
		lost float64
	}{day, lost}
}
