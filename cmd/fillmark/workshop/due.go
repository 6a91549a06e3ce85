// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/schedule"
)

// Line is one task on the technician's list, flat, as pages and commands
// show it.
type Line struct {
	Tag     loops.Tag         `json:"tag"`
	Machine string            `json:"machine"`
	Kind    loops.MachineKind `json:"machine_kind"`
	Owner   string            `json:"owner"`
	Task    loops.TaskKind    `json:"task"`
	Due     loops.Day         `json:"due"`
	// OverdueDays is negative before the due day.
	OverdueDays int          `json:"overdue_days"`
	Reason      string       `json:"reason"`
	Clause      loops.Clause `json:"clause"` // the binding one
	// Stage is how far the reminders of the task have come: ahead, due, late,
	// last or call; empty before the first.
	Stage loops.Stage `json:"stage,omitempty"`
}

// Standing says how far off the day is, and how far the reminders have come:
// "35 days over, stage late".
func (l Line) Standing() string {
	if l.Stage == "" {
		return DaysOver(l.OverdueDays)
	}
	return DaysOver(l.OverdueDays) + ", stage " + string(l.Stage)
}

// Because says why the day is what it is, with the source of the figure.
func (l Line) Because() string {
	return l.Reason + " (" + strings.TrimRight(l.Clause.Source, ".") + ")."
}

// DaysOver says how many days something is over its day: "3 days over",
// "today", "in 2 days" where that is still to come.
func DaysOver(days int) string {
	switch {
	case days > 0:
		return counted(days, "day") + " over"
	case days == 0:
		return "today"
	}
	return "in " + counted(-days, "day")
}

// CallLine is an owner to be called, and why.
type CallLine struct {
	Line
	OwnerID loops.OwnerID `json:"owner_id"`
	Phone   string        `json:"phone,omitempty"`
	Why     string        `json:"why"`
	// Evidence is what was mailed about it and what became of that; empty where
	// no mail was to go.
	Evidence string `json:"evidence"`
	Letter   bool   `json:"letter,omitempty"` // a printed letter can go instead
}

// noPhone stands where an owner's number should.
const noPhone = "no telephone on record"

// DueList is what a workshop has before it.
type DueList struct {
	Day     loops.Day  `json:"day"` // the workshop's
	Overdue []Line     `json:"overdue"`
	Today   []Line     `json:"today"`
	Week    []Line     `json:"week"`
	Later   []Line     `json:"later"`
	Call    []CallLine `json:"call"`
	// Notices say what several openings have in common.
	Notices []loops.EvidenceNotice `json:"notices"`
}

// lookAhead is how many days of later tasks the list reads.
const lookAhead = 60

// Due returns the technician's list at the instant.
func (w *Workshop) Due(at time.Time) (DueList, error) {
	today := loops.DayOf(at, w.settings.Zone)
	items, err := w.items(today.AddDays(lookAhead), at)
	if err != nil {
		return DueList{}, err
	}
	evidence, err := w.register.Evidence()
	if err != nil {
		return DueList{}, err
	}
	list := schedule.List(w.settings.Policy, today, items)
	out := DueList{Day: today, Overdue: lines(list.Overdue), Today: lines(list.Today), Week: lines(list.Week), Later: lines(list.Later), Call: []CallLine{},
		Notices: append([]loops.EvidenceNotice{}, evidence.Notices...)}
	for _, c := range list.Call {
		line := lineOf(c.Item, today, c.Stage)
		out.Call = append(out.Call, CallLine{Line: line, OwnerID: c.Owner.ID, Phone: c.Owner.Phone, Why: c.Reason, Evidence: c.Evidence, Letter: c.Letter})
	}
	return out, nil
}

func lines(of []schedule.Line) []Line {
	out := make([]Line, 0, len(of))
	for _, l := range of {
		out = append(out, lineOf(l.Item, l.Task.Due.AddDays(l.Days), l.Stage))
	}
	return out
}

func lineOf(i schedule.Item, today loops.Day, stage loops.Stage) Line {
	return Line{
		Tag: i.Loop.Tag, Machine: i.Machine.Name, Kind: i.Machine.Kind, Owner: i.Owner.Name, Task: i.Task.Kind,
		Due: i.Task.Due, OverdueDays: today.Sub(i.Task.Due), Reason: schedule.Reason(i.Task), Clause: i.Task.Binding(), Stage: stage,
	}
}

// items reads the tasks due up to a day with their loops, machines and
// owners, and what was written about them by the instant. Its cost grows with
// what is due, not with the register.
func (w *Workshop) items(through loops.Day, at time.Time) ([]schedule.Item, error) {
	dues, err := w.register.DueThrough(through)
	if err != nil {
		return nil, err
	}
	var items []schedule.Item
	for _, due := range dues {
		item, err := w.item(due, at)
		if errors.Is(err, errStaleDue) {
			continue // the plan moved between the two reads; the next sweep sees it
		}
		if err != nil {
			return nil, err
		}
		items = append(items, item)
	}
	return items, nil
}

var errStaleDue = errors.New("the plan has moved on")

func (w *Workshop) item(due loops.Due, at time.Time) (schedule.Item, error) {
	loop, err := w.register.Loop(due.Loop)
	if err != nil {
		return schedule.Item{}, fmt.Errorf("due loop %d: %w", due.Loop, err)
	}
	item := schedule.Item{Loop: loop}
	for _, t := range loop.Plan.Tasks {
		if t.Kind == due.Task && t.Due == due.Day {
			item.Task = t
		}
	}
	if item.Task.Kind == "" {
		return item, errStaleDue
	}
	if item.Machine, err = w.register.Machine(loop.Machine); err != nil {
		return item, fmt.Errorf("machine %d: %w", loop.Machine, err)
	}
	if item.Machine.Owner != 0 {
		if item.Owner, err = w.register.Owner(item.Machine.Owner); err != nil {
			return item, fmt.Errorf("owner %d: %w", item.Machine.Owner, err)
		}
	}
	return w.withLetters(item, at, "")
}

// withLetters adds to an item how mail to its owner stands, the message with
// the key left out.
func (w *Workshop) withLetters(item schedule.Item, at time.Time, but loops.MessageKey) (schedule.Item, error) {
	var err error
	item.Zone = w.zoneOf(item.Owner)
	if item.MailFault, err = w.mailFault(item.Owner); err != nil {
		return item, err
	}
	item.Letters, err = w.lettersAbout(item.Owner, item.Loop.ID, item.Task, at, but)
	return item, err
}
