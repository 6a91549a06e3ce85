// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// planner gathers the clauses of one loop, by task. A clause's text says the
// rule before its semicolon and the days it was reckoned from behind it; see
// [Reason].
type planner struct {
	in      Input
	charge  loops.Charge
	clauses map[loops.TaskKind][]loops.Clause
	since   []loops.Entry // see sinceFill
}

func (p *planner) add(task loops.TaskKind, c loops.Clause) {
	task = p.becomes(task)
	p.clauses[task] = append(p.clauses[task], c)
}

// becomes returns the task that is really done for one that cannot be done to
// this loop.
func (p *planner) becomes(task loops.TaskKind) loops.TaskKind {
	sealed := p.in.Loop.Sealed
	switch {
	case task == loops.TopUpTask && sealed:
		return loops.ServiceCheck
	case task == loops.BiocideRenewal && sealed:
		return loops.CoolantChange
	case task == loops.InhibitorRenewal && (sealed || p.charge.FormulatedProduct && !p.charge.ReDosable):
		return loops.CoolantChange
	}
	return task
}

// holds tells whether the charge has what the task renews.
func (p *planner) holds(task loops.TaskKind) bool {
	switch task {
	case loops.InhibitorRenewal:
		return p.charge.FormulatedProduct || p.charge.Inhibitor.Family != "" || p.charge.Inhibitor.Product != ""
	case loops.BiocideRenewal:
		return p.charge.Biocide.Family != string(chemistry.NoBiocide) && (p.charge.Biocide.Family != "" || p.charge.Biocide.Product != "")
	}
	return true
}

// filled returns the day the charge's age counts from and how to say it: the
// earliest day it can have been filled, where one is known.
func (p *planner) filled() (loops.Day, string) {
	from, to := p.charge.FilledFrom, p.charge.FilledTo
	switch {
	case from == to:
		return to, "filled on " + to.Long()
	case from.IsZero():
		return to, "filled on " + to.Long() + " or earlier"
	}
	return from, "filled on " + from.Long() + " at the earliest"
}

// last returns the day the task was last done to this charge and how to say
// it; the fill where it was not.
func (p *planner) last(task loops.TaskKind) (loops.Day, string) {
	day, said := p.filled()
	s := p.in.Loop.State
	later := func(other loops.Day, words string) {
		if other.After(day) {
			day, said = other, words+" on "+other.Long()
		}
	}
	switch task {
	case loops.Look:
		later(s.HandedOver, "handed over")
		later(s.LastLook, "last looked over")
	case loops.ServiceCheck:
		later(s.LastService, "last readings taken")
	case loops.TopUpTask:
		later(s.LastTopUp, "last topped up")
	case loops.LeakCheckTask:
		later(s.LastLeakCheck, "last checked for leaks")
	case loops.InhibitorRenewal:
		later(p.charge.Inhibitor.Added, "inhibitor last added")
	case loops.BiocideRenewal:
		later(p.charge.Biocide.Added, "biocide last added")
	}
	return day, said
}

// everyText says what an interval of the policy asks for.
var everyText = map[loops.TaskKind]string{
	loops.Look:             "Look over %s",
	loops.ServiceCheck:     "Service check %s",
	loops.TopUpTask:        "Top up %s",
	loops.InhibitorRenewal: "Renew the inhibitor %s",
	loops.BiocideRenewal:   "Renew the biocide %s",
	loops.CoolantChange:    "Change the coolant %s",
	loops.LeakCheckTask:    "Check for leaks %s",
}

// everyOwner says it to owners.
var everyOwner = map[loops.TaskKind]string{
	loops.Look:             "A short look-over %s keeps small troubles small.",
	loops.ServiceCheck:     "The workshop measures how well the machine is cooled %s.",
	loops.TopUpTask:        "The cooling liquid is made up %s.",
	loops.InhibitorRenewal: "What protects the metal inside is renewed %s.",
	loops.BiocideRenewal:   "What keeps the cooling liquid from going bad is renewed %s.",
	loops.CoolantChange:    "The cooling liquid is changed %s.",
	loops.LeakCheckTask:    "The workshop checks for drips %s.",
}

// intervals adds the calendar intervals of a task: the loop's own where a
// setting gives one, else the policy's.
func (p *planner) intervals(task loops.TaskKind) {
	if !p.holds(task) {
		return
	}
	from, said := p.last(task)
	if setting := p.in.Loop.State.Setting(task); setting.IntervalMonths > 0 {
		own := loops.Interval{Months: setting.IntervalMonths}
		text := fmt.Sprintf(everyText[task], own.Every()) + ", this loop's own interval; " + said
		c := settingClause(own.After(from), text, setting.Why)
		c.OwnerText = fmt.Sprintf(everyOwner[task], own.Every())
		p.add(task, c)
		return
	}
	for _, i := range fitting(p.in.Policy, task, false, p.in, p.charge.Fluid) {
		p.add(task, loops.Clause{
			Kind: loops.ByInterval, Day: i.After(from), Source: i.Source, Grade: i.Grade,
			Text:      fmt.Sprintf(everyText[task], i.Every()) + "; " + said + ".",
			OwnerText: fmt.Sprintf(everyOwner[task], i.Every()),
		})
	}
}

// firstLook adds the look soon after a fill by the workshop. It counts from
// the hand-over where that is later, since the owner cannot look before, and
// is done with by any look after it.
func (p *planner) firstLook() {
	s := p.in.Loop.State
	from, said := p.filled()
	if s.HandedOver.After(from) {
		from, said = s.HandedOver, said+", handed over on "+s.HandedOver.Long()
	}
	if p.charge.Origin != loops.WorkshopFill || s.LastLook.After(from) {
		return
	}
	for _, i := range fitting(p.in.Policy, loops.Look, true, p.in, p.charge.Fluid) {
		p.add(loops.Look, loops.Clause{
			Kind: loops.ByFirstLook, Day: i.After(from), Source: i.Source, Grade: i.Grade,
			Text:      fmt.Sprintf("First look %s after a fill; %s.", i, said),
			OwnerText: fmt.Sprintf("A first look-over %s after new liquid went in shows whether all is well.", i),
		})
	}
}

// declaredLives adds the lives that labels declare.
func (p *planner) declaredLives() {
	lives := []struct {
		task    loops.TaskKind
		what    string
		owner   string
		months  int
		product string
	}{
		{loops.CoolantChange, "coolant", "the cooling liquid", p.charge.FluidLifeMonths, p.charge.Product},
		{loops.InhibitorRenewal, "inhibitor", "what protects the metal inside", p.charge.Inhibitor.LifeMonths, p.charge.Inhibitor.Product},
		{loops.BiocideRenewal, "biocide", "what keeps the cooling liquid from going bad", p.charge.Biocide.LifeMonths, p.charge.Biocide.Product},
	}
	for _, l := range lives {
		if l.months <= 0 {
			continue
		}
		life := loops.Interval{Months: l.months}
		from, said := p.last(l.task)
		source := "label of the " + l.what
		if l.product != "" {
			source = "label of " + l.product
		}
		p.add(l.task, loops.Clause{
			Kind: loops.ByDeclaredLife, Day: life.After(from), Source: source, Grade: GradeMaker,
			Text:      fmt.Sprintf("The label gives the %s %s; %s.", l.what, life, said),
			OwnerText: fmt.Sprintf("The label gives %s %s.", l.owner, life),
		})
	}
}

// containers adds the days until which the labels of the containers that this
// charge came from declare their content good.
func (p *planner) containers() {
	for _, c := range p.in.Containers {
		used := slices.ContainsFunc(c.Uses, func(u loops.Use) bool {
			return u.Loop == p.in.Loop.ID && !u.Day.Before(p.charge.FilledTo)
		})
		if !used || c.Expires.IsZero() {
			continue
		}
		task := loops.CoolantChange
		if c.Kind == loops.AdditiveBottle {
			switch c.Product {
			case p.charge.Inhibitor.Product:
				task = loops.InhibitorRenewal
			case p.charge.Biocide.Product:
				task = loops.BiocideRenewal
			default:
				continue
			}
		}
		said := c.Product
		if c.Lot != "" {
			said += ", lot " + c.Lot
		}
		p.add(task, loops.Clause{
			Kind: loops.ByDeclaredLife, Day: c.Expires, Source: "label of " + said, Grade: GradeMaker,
			Text:      fmt.Sprintf("Filled from %s, good until %s.", said, c.Expires.Long()),
			OwnerText: "What went in is good until this day by its label.",
		})
	}
}

// The rule of leakage of UFC 3-240-13FN (US Department of Defense, 25 May
// 2005, section 5): a closed system that loses 2 % of its volume in less than
// four months leaks more than it may.
const (
	leakShare  = 0.02
	leakMonths = 4
	leakSource = "UFC 3-240-13FN (US Department of Defense, 2005), rule of leakage for closed systems"
)

// concernPhoto says so where the owner sent a photo with what is off.
func (p *planner) concernPhoto() string {
	for _, e := range loops.Standing(p.in.History) {
		if e.Kind == loops.KindAnswer && e.Answer.Photo != "" && e.Day == p.in.Loop.State.Concern {
			return ", with a photo"
		}
	}
	return ""
}

// findings adds what was seen in this loop and is not dealt with yet.
func (p *planner) findings() {
	s := p.in.Loop.State
	if !s.Concern.IsZero() {
		p.add(loops.ServiceCheck, loops.Clause{
			Kind: loops.ByFinding, Day: s.Concern, Source: "owner's answer", Grade: GradeRecord,
			Text:      "The owner says something is off; answered on " + s.Concern.Long() + p.concernPhoto() + ".",
			OwnerText: "You told us on " + s.Concern.Long() + " that something is off.",
		})
	}
	if s.Missing <= 0 || s.MissingSeen.IsZero() {
		return
	}
	p.add(loops.TopUpTask, loops.Clause{
		Kind: loops.ByFinding, Day: s.MissingSeen, Source: "level in this loop's history", Grade: GradeRecord,
		Text:      fmt.Sprintf("%s missing to the fill mark; seen on %s.", s.Missing, s.MissingSeen.Long()),
		OwnerText: fmt.Sprintf("Cooling liquid was missing, %s, when the workshop looked on %s.", s.Missing, s.MissingSeen.Long()),
	})
	p.leak(s)
}

// leak adds a leak check where liquid went faster than the rule of leakage
// allows. The level counts from the fill or the last top-up before it was seen.
func (p *planner) leak(s loops.State) {
	since, said := p.charge.FilledTo, "filled on "
	if s.LastTopUp.After(since) && s.LastTopUp.Before(s.MissingSeen) {
		since, said = s.LastTopUp, "topped up on "
	}
	share := float64(s.Missing / max(p.in.Loop.Volume, chemistry.Litre(1e-6)))
	checked := !s.LastLeakCheck.Before(s.MissingSeen) && !s.LastLeakCheck.IsZero()
	if checked || share <= leakShare || !s.MissingSeen.Before(since.AddMonths(leakMonths)) {
		return
	}
	p.add(loops.LeakCheckTask, loops.Clause{
		Kind: loops.ByFinding, Day: s.MissingSeen, Source: leakSource, Grade: GradeStandard,
		Text: fmt.Sprintf("%.0f %% of the volume gone where %.0f %% in %d months is too much; %s%s, seen on %s.",
			100*share, 100*leakShare, leakMonths, said, since.Long(), s.MissingSeen.Long()),
		OwnerText: "More cooling liquid went missing than should; the workshop wants to look for drips.",
	})
}

// settingClause says what a setting of this loop does, and why where it does.
func settingClause(day loops.Day, text, why string) loops.Clause {
	if why != "" {
		text += " (" + why + ")"
	}
	return loops.Clause{Kind: loops.BySetting, Day: day, Text: text + ".", Source: "setting of this loop", Grade: GradeRecord}
}
