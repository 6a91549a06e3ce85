// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"

	"fillmark/chemistry"
	"fillmark/loops"
)

// The rule of leakage of UFC 3-240-13FN (US Department of Defense, 25 May
// 2005, section 5): a closed system that loses 2 % of its volume in less than
// four months leaks more than it may.
const (
	leakShare  = 0.02
	leakMonths = 4
	leakSource = "UFC 3-240-13FN (US Department of Defense, 2005), rule of leakage for closed systems"
)

// lost is how much liquid a loop had lost in all by a day, of what it holds full.
type lost struct {
	day  loops.Day
	all  chemistry.Litre
	said string // what was done that day, before "on"
}

// missingAtFill is how much lacked when the workshop filled the loop; not known
// of what others filled, or where nobody measured both.
func (p *planner) missingAtFill(fill loops.Entry) (chemistry.Litre, bool) {
	c, full := fill.Fill.Charge, p.in.Loop.Volume
	return max(0, full-c.Volume), c.Origin == loops.WorkshopFill && c.Volume > 0 && full > 0
}

// leak adds a leak check where liquid went faster than the rule of leakage
// allows, between any two days on which the level was known. What was poured in
// counts as lost before, so that no top-up makes the finding go. Only a dry
// check of full length clears it, and another charge begins again, with the first
// day on which anybody knew how full the loop was.
func (p *planner) leak() {
	volume := p.in.Loop.Volume
	if volume <= 0 || len(p.in.History) == 0 {
		return
	}
	var known, found []lost // found are from and to
	added := chemistry.Litre(0)
	look := func(now lost) {
		for _, then := range known {
			if len(found) == 0 && float64(now.all-then.all) > leakShare*float64(volume) && now.day.Before(then.day.AddMonths(leakMonths)) {
				found = []lost{then, now}
			}
		}
		known = append(known, now)
	}
	for _, e := range p.sinceCharge() {
		switch {
		case e.Kind == loops.KindFill:
			if missing, ok := p.missingAtFill(e); ok {
				look(lost{p.charge.FilledTo, missing, "filled"})
			}
		case e.Kind == loops.KindTopUp:
			for _, pour := range e.TopUp.Poured {
				added += pour.Volume
			}
			added -= e.TopUp.Drained
			look(lost{e.Day, added + e.TopUp.Missing, "topped up"})
		case e.Kind == loops.KindInspection && e.Inspection.Missing != nil:
			look(lost{e.Day, added + *e.Inspection.Missing, "looked at"})
		case e.Kind == loops.KindLeakCheck && e.LeakCheck.Dry && e.LeakCheck.Full():
			if found = nil; len(known) > 0 {
				known = []lost{{e.Day, known[len(known)-1].all, "checked for leaks"}}
			}
		}
	}
	if len(found) == 0 {
		return
	}
	from, to := found[0], found[1]
	p.add(loops.LeakCheckTask, loops.Clause{
		Kind: loops.ByFinding, Day: to.day, Source: leakSource, Grade: GradeStandard,
		Text: fmt.Sprintf("%.0f %% of the volume gone where %.0f %% in %d months is too much; %s on %s, seen on %s.",
			100*float64(to.all-from.all)/float64(volume), 100*leakShare, leakMonths, from.said, from.day.Long(), to.day.Long()),
		OwnerText: "More cooling liquid went missing than should; the workshop wants to look for drips.",
	})
}
