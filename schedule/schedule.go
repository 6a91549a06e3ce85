// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package schedule turns a policy and a loop's state into the loop's plan,
// says what is due on a day and whom to remind or call, and writes calendars.
//
// Main functions: [DefaultPolicy] (the shipped figures), [PlanLoop] (tasks with
// every reason), [StageOn] (how far the reminders of a task have come),
// [Sweep] (what to mail and whom to call now), [List] (the technician's list).
// [Calendar] writes iCalendar files for feeds and mails.
//
// Days are civil [loops.Day] values of the owner's zone, intervals whole days
// or months clamped to the month's end, volumes litres. The package is pure:
// no I/O, no clock, no randomness; time and zones come in as arguments, and
// everything is safe for concurrent use. Callers may match
// [*loops.InvalidError].
//
// The calendar writer is our own and small because the kept libraries fall
// short of what calendar programs need: one never folds long lines, the other
// lets a value with a line break add properties of its own.
package schedule

import (
	"fmt"
	"slices"

	"fillmark/loops"
)

// Input is what a loop's plan is made from.
type Input struct {
	Policy  loops.Policy  // as validated by [loops.Policy.Validate]
	Machine loops.Machine // that the loop is in
	Loop    loops.Loop    // its construction and folded state count
	// History is the loop's whole history: readings, levels and weights in it
	// bring tasks forward. Without it those clauses are left out.
	History []loops.Entry
	// Containers are those of the shelf that went into the loop.
	Containers []loops.Container
}

// PlanLoop returns the plan of a loop: for each task that has a reason, all
// clauses, the earliest first, and its day as the due day. A loop that is not
// in service has an empty plan.
//
// Nothing is planned that would open a sealed loop only to measure or to add:
// there a top-up and the life of a biocide become a service check, and the life
// of an inhibitor a coolant change. So does the renewal of an inhibitor that
// came with a formulated product, unless its label allows re-dosing.
//
// A contaminated loop is due a coolant change at once and a leaking one a leak
// check; no pause holds them back. Each clause moves only by a figure or a
// judgement that stands for it.
//
// It refuses a policy without a version, a loop of another machine, an unknown
// kind of machine, a charge without a day, with an
// [*loops.InvalidError].
func PlanLoop(in Input) (loops.Plan, error) {
	if err := in.validate(); err != nil {
		return loops.Plan{}, err
	}
	plan := loops.Plan{PolicyVersion: in.Policy.Version}
	if !in.Loop.State.InService() || in.Machine.Kind == loops.DonorUnit {
		return plan, nil
	}
	p := planner{in: in, charge: *in.Loop.State.Charge, clauses: map[loops.TaskKind][]loops.Clause{}}
	for _, task := range loops.TaskKinds() {
		p.intervals(task)
	}
	p.firstLook()
	p.declaredLives()
	p.containers()
	p.season()
	p.drift()
	p.afar()
	p.loss()
	p.limits()
	p.findings()
	for _, task := range loops.TaskKinds() {
		if clauses := p.clauses[task]; len(clauses) > 0 {
			plan.Tasks = append(plan.Tasks, p.task(task, clauses))
		}
	}
	return plan, nil
}

func (in Input) validate() error {
	refuse := func(field string, value any, reason string) error {
		return &loops.InvalidError{Field: field, Value: fmt.Sprint(value), Reason: reason}
	}
	switch {
	case in.Policy.Version == "":
		return refuse("policy.version", "", "a policy with a version, so that the plan can name it")
	case in.Loop.Machine != in.Machine.ID:
		return refuse("machine", in.Machine.ID, fmt.Sprintf("the machine of the loop, %d", in.Loop.Machine))
	case !slices.Contains(loops.MachineKinds(), in.Machine.Kind):
		return refuse("kind", in.Machine.Kind, "one of the kinds of machine")
	case in.Loop.State.Charge != nil && in.Loop.State.Charge.FilledTo.IsZero():
		return refuse("filled", "", "the day of the fill, or the last day it can have been")
	}
	return nil
}

// task orders the clauses and applies a pause, which holds back nothing that a
// condition of the loop asks for.
func (p *planner) task(kind loops.TaskKind, clauses []loops.Clause) loops.Task {
	slices.SortStableFunc(clauses, func(a, b loops.Clause) int { return a.Day.Compare(b.Day) })
	task := loops.Task{Kind: kind, Due: clauses[0].Day, Clauses: clauses}
	state := p.in.Loop.State
	urgent := slices.ContainsFunc(state.Conditions(), func(c loops.Condition) bool { return c.Task == kind })
	if setting := state.Setting(kind); setting.Paused && !urgent {
		task.Paused = true
		// It carries the due day but sorts behind the clause that set it.
		pause := settingClause(task.Due, "Paused for this loop: nobody is reminded until it is resumed", setting.Why)
		pause.OwnerText = "Paused for this machine: nobody is reminded until it is resumed."
		task.Clauses = slices.Insert(clauses, 1, pause)
	}
	return task
}
