// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package demo

import (
	"context"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// demo runs the scenario through the real actions, day by day, against a real
// register, and says what it does.
type demo struct {
	system *daemon.Service
	out    Printer
	now    time.Time
	zone   *time.Location

	tags  map[loops.Tag]demoMachine
	shelf []loops.Container
}

// run does the whole main job once: mix, register, fill, hand over, plan,
// sweep, compose, sign, deliver, and a top-up check.
func (d *demo) run(ctx context.Context) error {
	d.tags = map[loops.Tag]demoMachine{}
	if err := d.mix(); err != nil {
		return err
	}
	if err := d.stock(); err != nil {
		return err
	}
	if err := d.register(ctx); err != nil {
		return err
	}
	if err := d.showLoops(); err != nil {
		return err
	}
	if err := d.study(ctx); err != nil {
		return err
	}
	if err := d.topUp(); err != nil {
		return err
	}
	if err := d.sweep(ctx); err != nil {
		return err
	}
	return d.showDue()
}

func (d *demo) stamp(daysAgo int, hour int) workshop.Stamp {
	day := loops.DayOf(d.now, d.zone).AddDays(-daysAgo)
	at := day.At(hour, d.zone)
	if at.After(d.now) {
		at = d.now
	}
	return workshop.Stamp{At: at.UTC(), By: "demo"}
}

// mix prints what to pour for the bench's open loop.
func (d *demo) mix() error {
	protect := chemistry.Celsius(-10)
	m, err := chemistry.Mix(chemistry.MixRequest{
		Fluid: chemistry.PropyleneGlycol, Protect: &protect, Make: 0.6, Concentrate: 0.95, Bench: 20, Left: 0.015,
	})
	if err != nil {
		return fmt.Errorf("mix: %w", err)
	}
	d.out.Line("▐ 1  Mix for a loop whose coldest wall sees %s", protect)
	for _, p := range m.Parts {
		d.out.Line("     %-15s %8s  (%.0f ml)", p.Name, p.Mass, p.Volume.Millilitres())
	}
	d.out.Paragraph("     ", "     ", fmt.Sprintf("With the 15 ml left in the loop that makes %s: first ice at %.1f ± %.1f °C.",
		m.Result.Mass, float64(m.Result.Freeze.Stated), float64(m.Result.Freeze.Uncertainty)))
	return nil
}

// register records owners, machines and loops, and what was done to them on
// the days it was done; hand-over mail goes out on its day.
func (d *demo) register(ctx context.Context) error {
	owners, machines := 0, 0
	for _, o := range demoOwners() {
		var owner loops.Owner
		if o.owner.Name != "" {
			var err error
			if owner, err = d.system.Workshop.AddOwner(d.stamp(500, 9), o.owner); err != nil {
				return fmt.Errorf("owner %s: %w", o.owner.Name, err)
			}
			owners++
		}
		for _, m := range o.machines {
			if _, err := d.add(ctx, owner, m); err != nil {
				return fmt.Errorf("%s: %w", m.machine.Name, err)
			}
			machines++
		}
	}
	d.out.Line("▐ 2  Registered: %d owners, %d machines, every fill, inspection and hand-over", owners, machines)
	return nil
}

// add records a machine with its loop and all that was done to it.
func (d *demo) add(ctx context.Context, owner loops.Owner, m demoMachine) (loops.Tag, error) {
	w := d.system.Workshop
	arrived := m.filled + 1
	m.machine.Owner = owner.ID
	if m.filled == 0 { // still on the bench
		m.machine.PromisedBack = loops.DayOf(d.now, d.zone).AddDays(2)
	}
	machine, err := w.AddMachine(d.stamp(arrived, 10), m.machine)
	if err != nil {
		return "", err
	}
	m.loop.Machine = machine.ID
	loop, err := w.AddLoop(d.stamp(arrived, 10), m.loop)
	if err != nil {
		return "", err
	}
	d.tags[loop.Tag] = m
	return loop.Tag, d.record(ctx, loop.Tag, owner, d.history(owner, m))
}

// record enters steps on the days they were done.
func (d *demo) record(ctx context.Context, tag loops.Tag, owner loops.Owner, steps []demoStep) error {
	for _, step := range steps {
		stamp := d.stamp(step.daysAgo, step.hour)
		step.entry.Day = loops.DayOf(stamp.At, d.zone)
		if fill := step.entry.Fill; fill != nil {
			fill.Charge.FilledTo = step.entry.Day
			if fill.Charge.Origin == loops.WorkshopFill {
				fill.Charge.FilledFrom = step.entry.Day
			}
		}
		if err := d.enter(stamp, tag, owner, step.entry); err != nil {
			return fmt.Errorf("%s: %w", step.entry.Kind, err)
		}
		// What was queued went out on its own day, not today.
		if _, err := d.system.Deliverer.Deliver(ctx, stamp.At); err != nil {
			return err
		}
	}
	return nil
}

// enter does the act that an entry tells, through the gate; an answer comes from
// its owner.
func (d *demo) enter(stamp workshop.Stamp, tag loops.Tag, owner loops.Owner, e loops.Entry) error {
	if e.Kind == loops.KindAnswer {
		_, err := d.system.Workshop.AnswerAbout(stamp, owner, *e.Answer, tag)
		return err
	}
	act, ok := acts.Entered(e)
	if !ok {
		return fmt.Errorf("%s is no act", e.Kind)
	}
	_, err := d.system.Workshop.Act(stamp, tag, act)
	return err
}

// backwards is the invented fault: after a dusting the radiator's fan went back
// in the wrong way round, and lint felted up between them. The coolant stands
// 46 K above the room, and the die, 25 K above that, slows the machine down.
func backwards() loops.Inspection {
	return loops.Inspection{
		Die: celsius(91), CoolantIn: celsius(66), Room: celsius(19.5), PowerW: new(130.0), Steady: true, Verdict: loops.Failed, Noise: "fan howls",
	}
}

// upright is the same load when the fan blows as it should: the same 0.19 K/W
// from die to coolant, and a quarter of what was from coolant to room.
func upright() loops.Inspection {
	return loops.Inspection{
		Die: celsius(54.5), CoolantIn: celsius(31), Room: celsius(19.5), PowerW: new(130.0), Steady: true, Verdict: loops.Good,
	}
}

type demoStep struct {
	daysAgo, hour int
	entry         loops.Entry
}

// history is what was done to a machine, in order.
func (d *demo) history(owner loops.Owner, m demoMachine) []demoStep {
	m.charge.Volume = m.poured
	before, after := backwards(), upright()
	fill := demoStep{m.filled, 13, loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: m.charge, Poured: d.poured(m)}}}
	steps := []demoStep{fill}
	if m.charge.Origin == loops.WorkshopFill {
		steps = []demoStep{
			{m.filled + 1, 11, loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{
				Complaint: "It slows down after ten minutes of work, since it was dusted.", Symptom: "radiator hot all over, fan blows against the case"}}},
			{m.filled, 12, loops.Entry{Kind: loops.KindFlush, Note: "drained to take the radiator out: felt of lint brushed off, fan turned round; three rinses"}},
			fill,
		}
	}
	if m.inspected > 0 {
		steps = append(steps,
			demoStep{m.inspected, 10, loops.Entry{Kind: loops.KindLeakCheck, LeakCheck: &loops.LeakCheck{Hours: 24, Dry: true}}},
			demoStep{m.inspected, 11, loops.Entry{Kind: loops.KindProof, Proof: &loops.Proof{Before: before, After: after}}})
	}
	if m.handed > 0 {
		steps = append(steps, demoStep{m.handed, 16, loops.Entry{Kind: loops.KindHandover, Handover: &loops.Handover{Consent: owner.Consent}}})
	}
	if m.looked > 0 {
		steps = append(steps, demoStep{m.looked, 18, loops.Entry{Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.AllFine, Tasks: []loops.TaskKind{loops.Look}}}})
	}
	if m.opened != nil {
		found := m.opened.found
		if m.charge.Origin == loops.WorkshopFill { // the owner said when it stopped cooling
			found.FailedOn = loops.DayOf(d.now, d.zone).AddDays(-m.opened.daysAgo - 2)
		}
		steps = append(steps, demoStep{m.opened.daysAgo, 14, loops.Entry{Kind: loops.KindOpening, Opening: &found}})
	}
	return steps
}

// showLoops prints what is in every loop and what it protects to.
func (d *demo) showLoops() error {
	d.out.Line("▐ 3  What is in the loops")
	var rows [][]string
	for loop, err := range d.system.Store.Loops() {
		if err != nil {
			return err
		}
		wall, ice := "", "not known"
		if p := loop.Protection(); p != nil {
			ice = fmt.Sprintf("%.1f ± %.1f °C", float64(p.FreezePoint), float64(p.Uncertainty))
			wall = "cannot freeze"
			if p.Wall != nil {
				wall = p.Wall.String()
				if !p.Holds {
					wall += " DOES NOT HOLD"
				}
			}
		}
		state := d.out.Build(loop)
		if !loop.State.Failed.IsZero() {
			state = "opened: " + string(loop.State.Cause)
		}
		rows = append(rows, []string{string(loop.Tag), state, d.out.Charge(loop.State.Charge), ice, wall})
	}
	d.out.Table([]string{"tag", "loop", "charge", "first ice", "coldest wall"}, len(rows), func(i int) []string { return rows[i] })
	return nil
}

// topUp checks a top-up that is right and one that is not.
func (d *demo) topUp() error {
	var tag loops.Tag
	for t, m := range d.tags {
		if m.machine.Name == "the attic PC" {
			tag = t
		}
	}
	room := chemistry.Litre(0.04)
	d.out.Line("▐ 4  Check a top-up of %s before pouring: 40 ml are missing", tag)
	for _, with := range []string{"water", "pg:95%"} {
		answer, err := d.system.Workshop.CheckTopUp(workshop.TopUpQuestion{Tag: string(tag), Room: &room, With: []string{with}})
		if err != nil {
			return fmt.Errorf("top-up check: %w", err)
		}
		reason := "Nothing speaks against it."
		if len(answer.Reasons) > 0 {
			first, size := utf8.DecodeRuneInString(answer.Reasons[0].Text)
			reason = string(unicode.ToUpper(first)) + answer.Reasons[0].Text[size:]
		}
		d.out.Paragraph("     ", "       ", fmt.Sprintf("with %s: %s. %s", with, strings.ToUpper(string(answer.Verdict)), reason))
	}
	return nil
}

// sweep does what the daemon did since yesterday: the pass of the day, and a
// sweep every hour, so that every owner's morning has come once whatever the
// hour is now.
func (d *demo) sweep(ctx context.Context) error {
	if _, err := d.system.Workshop.Learn(ctx, workshop.Stamp{At: d.now.Add(-23 * time.Hour).UTC(), By: "schedule"}); err != nil {
		return err
	}
	var reminders []workshop.Queued
	var total notify.Report
	for hour := 23; hour >= 0; hour-- {
		at := d.now.Add(-time.Duration(hour) * time.Hour).UTC()
		swept, err := d.system.Workshop.Sweep(workshop.Stamp{At: at, By: "schedule"})
		if err != nil {
			return err
		}
		reminders = append(reminders, swept.Reminders...)
		if hour == 0 {
			if _, err := d.system.Workshop.MailMorning(workshop.Stamp{At: at, By: "schedule"}); err != nil {
				return err
			}
		}
		report, err := d.system.Deliverer.Deliver(ctx, at)
		if err != nil {
			return err
		}
		if report.RelayFault != nil {
			return report.RelayFault
		}
		total.Delivered += report.Delivered
	}
	d.out.Line("▐ 5  Swept every hour since yesterday: %d reminders composed, %d signed and delivered", len(reminders), total.Delivered)
	for _, r := range reminders {
		d.out.Paragraph("     ", "       ", r.Owner+": "+r.Subject)
	}
	return nil
}

// showDue prints the technician's list.
func (d *demo) showDue() error {
	list, err := d.system.Workshop.Due(d.now)
	if err != nil {
		return err
	}
	d.out.Line("▐ 6  The technician's list: %d overdue, %d today, %d this week, %d to call", len(list.Overdue), len(list.Today), len(list.Week), len(schedule.Conversations(list.Call)))
	for i, l := range list.Overdue {
		if i == 5 {
			d.out.Line("     and %d more", len(list.Overdue)-i)
			break
		}
		d.out.Paragraph("     ", "       ", fmt.Sprintf("%s %s, %s: %s since %s: %s", l.Tag, l.Machine, l.Owner, l.Task, l.Due.Long(), l.Reason))
	}
	clogs, err := d.system.Workshop.Pattern(loops.CauseClog)
	if err != nil {
		return err
	}
	d.out.Paragraph("     ", "       ", fmt.Sprintf("%d charges on record clogged, and %d were good when last known. Pattern or chance? fillmark opening pattern", clogs.Failed, clogs.Good))
	return nil
}
