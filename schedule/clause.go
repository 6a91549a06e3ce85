// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"
	"slices"

	"fillmark/loops"
)

// planner gathers the clauses of one loop, by task. A clause's text says the
// rule before its semicolon and the days it was worked out from behind it; see
// [Reason].
type planner struct {
	in      Input
	charge  loops.Charge
	clauses map[loops.TaskKind][]loops.Clause
	since   []loops.Entry // see sinceCharge
}

func (p *planner) add(task loops.TaskKind, c loops.Clause) {
	task = p.becomes(task)
	p.clauses[task] = append(p.clauses[task], c)
}

// becomes returns the task that is really done for one that cannot be done to
// this loop.
func (p *planner) becomes(task loops.TaskKind) loops.TaskKind {
	about, _ := loops.AboutTask(task)
	switch {
	case p.in.Loop.Sealed && about.Sealed != "":
		return about.Sealed
	case task == loops.InhibitorRenewal && p.charge.FormulatedProduct && !p.charge.ReDosable:
		return loops.CoolantChange
	}
	return task
}

// renewal is the task that renews the additives of a role.
func renewal(role loops.AdditiveRole) loops.TaskKind {
	if role == loops.RoleBiocide {
		return loops.BiocideRenewal
	}
	return loops.InhibitorRenewal
}

// renewed are the additives of the charge that a task renews.
func (p *planner) renewed(task loops.TaskKind) []loops.Dosed {
	return slices.DeleteFunc(slices.Clone(p.charge.Additives), func(a loops.Dosed) bool { return a.None() || renewal(a.Role) != task })
}

// holds tells whether the charge has what the task renews.
func (p *planner) holds(task loops.TaskKind) bool {
	switch task {
	case loops.InhibitorRenewal:
		return p.charge.FormulatedProduct || len(p.renewed(task)) > 0
	case loops.BiocideRenewal:
		return len(p.renewed(task)) > 0
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
	case loops.TopUpTask:
		later(s.LastTopUp, "last topped up")
	case loops.LeakCheckTask:
		later(s.LastLeakCheck, "last checked for leaks")
	case loops.InhibitorRenewal, loops.BiocideRenewal:
		// The one that has gone longest without is what the renewal is about.
		if all := p.renewed(task); len(all) > 0 {
			a := slices.MinFunc(all, func(a, b loops.Dosed) int { return a.Added.Compare(b.Added) })
			later(a.Added, p.named(a)+" last added")
		}
	}
	if p.becomes(task) == loops.ServiceCheck {
		later(s.LastService, "last readings taken") // the check is what is done
	}
	return day, said
}

// named is what to call an additive: by its role, and where there are several
// of one also by its name.
func (p *planner) named(a loops.Dosed) string {
	if len(p.charge.Having(a.Role)) > 1 && a.Name() != string(a.Role) {
		return string(a.Role) + " " + a.Name()
	}
	return string(a.Role)
}

// intervals adds the calendar intervals of a task: the loop's own where a
// setting gives one, else the policy's.
func (p *planner) intervals(task loops.TaskKind) {
	if !p.holds(task) {
		return
	}
	about, _ := loops.AboutTask(task)
	from, said := p.last(task)
	if setting := p.in.Loop.State.Setting(task); setting.IntervalMonths > 0 {
		own := loops.Interval{Months: setting.IntervalMonths}
		text := about.Every(own) + ", this loop's own interval; " + said
		c := settingClause(own.After(from), text, setting.Why)
		c.OwnerText = about.OwnerEvery(own)
		p.add(task, c)
		return
	}
	for _, i := range fitting(p.in.Policy, task, false, p.in, p.charge.Fluid) {
		p.add(task, loops.Clause{
			Kind: loops.ByInterval, Day: i.After(from), Source: i.Source, Grade: i.Grade,
			Text:      about.Every(i) + "; " + said + ".",
			OwnerText: about.OwnerEvery(i),
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

// declaredLives adds the lives that labels declare, of each additive its own.
func (p *planner) declaredLives() {
	from, said := p.last(loops.CoolantChange)
	p.declared(loops.CoolantChange, "coolant", "the cooling liquid", p.charge.Product, p.charge.FluidLifeMonths, from, said)
	for _, a := range p.charge.Additives {
		if a.None() {
			continue
		}
		task, owner := renewal(a.Role), "the corrosion protection"
		if task == loops.BiocideRenewal {
			owner = "the protection against growth"
		}
		from, said := p.filled()
		if a.Added.After(from) {
			from, said = a.Added, p.named(a)+" last added on "+a.Added.Long()
		}
		if s := p.in.Loop.State; p.becomes(task) == loops.ServiceCheck && s.LastService.After(from) {
			from, said = s.LastService, "last readings taken on "+s.LastService.Long()
		}
		p.declared(task, p.named(a), owner, a.Product, a.LifeMonths, from, said)
	}
}

// declared adds the life that one label declares; zero months are none.
func (p *planner) declared(task loops.TaskKind, what, owner, product string, months int, from loops.Day, said string) {
	if months <= 0 {
		return
	}
	life := loops.Interval{Months: months}
	source := "label of the " + what
	if product != "" {
		source = "label of " + product
	}
	rule, owner := fmt.Sprintf("The label gives the %s %s", what, life), fmt.Sprintf("The label gives %s %s", owner, life)
	if p.becomes(task) == loops.ServiceCheck {
		rule += ", and a sealed loop is not opened to renew it: the check asks whether it cools as before"
		owner += ". The workshop does not open a sealed machine for that; it checks whether it cools as before"
	}
	p.add(task, loops.Clause{
		Kind: loops.ByDeclaredLife, Day: life.After(from), Source: source, Grade: GradeMaker,
		Text: rule + "; " + said + ".", OwnerText: owner + ".",
	})
}

// containers adds the days until which the labels of the containers that this
// charge came from declare their content good. A dose from another bottle puts
// an earlier one out of the loop's plan.
func (p *planner) containers() {
	for _, c := range p.in.Containers {
		task, since := loops.CoolantChange, p.charge.FilledTo
		if c.Kind == loops.AdditiveBottle {
			i := slices.IndexFunc(p.charge.Additives, func(a loops.Dosed) bool { return a.Product == c.Product })
			if i < 0 {
				continue
			}
			a := p.charge.Additives[i]
			task = renewal(a.Role)
			if a.Added.After(since) {
				since = a.Added
			}
		}
		used := slices.ContainsFunc(c.Uses, func(u loops.Use) bool { return u.Loop == p.in.Loop.ID && !u.Day.Before(since) })
		checked := p.becomes(task) == loops.ServiceCheck && !p.in.Loop.State.LastService.Before(c.Expires)
		if !used || c.Expires.IsZero() || checked {
			continue
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

// concernPhoto says so where the owner sent a photo with what is off.
func (p *planner) concernPhoto() string {
	for _, e := range loops.Standing(p.in.History) {
		if e.Kind == loops.KindAnswer && e.Answer.Photo != "" && e.Day == p.in.Loop.State.Concern {
			return ", with a photo"
		}
	}
	return ""
}

// sourceState is where a condition of the loop is from.
const sourceState = "this loop's record"

// findings adds what was seen in this loop and is not dealt with yet.
func (p *planner) findings() {
	s := p.in.Loop.State
	for _, c := range s.Conditions() {
		if c.Task != "" {
			p.add(c.Task, loops.Clause{
				Kind: loops.ByFinding, Day: c.Since, Source: sourceState, Grade: GradeRecord, Text: c.Text, OwnerText: c.OwnerText,
			})
		}
	}
	p.leak()
	if !s.Concern.IsZero() {
		p.add(loops.ServiceCheck, loops.Clause{
			Kind: loops.ByFinding, Day: s.Concern, Source: "owner's answer", Grade: GradeRecord,
			Text:      "The owner says something is off; answered on " + s.Concern.Long() + p.concernPhoto() + ".",
			OwnerText: "We were told on " + s.Concern.Long() + " that something is off.",
		})
	}
	if s.Missing <= 0 || s.MissingSeen.IsZero() || s.Missing < lossShare*p.in.Loop.Volume {
		return // where nobody knows the volume, any gap counts
	}
	p.add(loops.TopUpTask, loops.Clause{
		Kind: loops.ByFinding, Day: s.MissingSeen, Source: "level in this loop's history", Grade: GradeRecord,
		Text:      fmt.Sprintf("%s missing to the fill mark; seen on %s.", s.Missing, s.MissingSeen.Long()),
		OwnerText: fmt.Sprintf("Cooling liquid was missing, %s, when the workshop looked on %s.", s.Missing, s.MissingSeen.Long()),
	})
}

// settingClause says what a setting of this loop does, and why where it does.
func settingClause(day loops.Day, text, why string) loops.Clause {
	if why != "" {
		text += " (" + why + ")"
	}
	return loops.Clause{Kind: loops.BySetting, Day: day, Text: text + ".", Source: "setting of this loop", Grade: GradeRecord}
}
