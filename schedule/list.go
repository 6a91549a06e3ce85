// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"strings"

	"fillmark/loops"
)

// TechnicianList is what a workshop has before it on a day. Every task stands
// in exactly one of the first four groups, and in Call as well where the owner
// is to be called. No group is nil.
type TechnicianList struct {
	Day     loops.Day  `json:"day"`     // the workshop's
	Overdue []Line     `json:"overdue"` // the longest overdue first
	Today   []Line     `json:"today"`
	Week    []Line     `json:"week"` // in the next seven days
	Later   []Line     `json:"later"`
	Call    []CallLine `json:"call"` // whom to call and why, the longest overdue first
}

// Line is one task on the technician's list, flat, as pages and commands
// show it.
type Line struct {
	Tag     loops.Tag         `json:"tag"`
	Machine string            `json:"machine"`
	Kind    loops.MachineKind `json:"machine_kind"`
	Owner   string            `json:"owner"`
	OwnerID loops.OwnerID     `json:"owner_id,omitempty"` // zero for a donor unit
	Phone   string            `json:"phone,omitempty"`
	Address string            `json:"address,omitempty"`
	Task    loops.TaskKind    `json:"task"`
	Due     loops.Day         `json:"due"`
	// OverdueDays is negative before the due day.
	OverdueDays int `json:"overdue_days"`
	// Agreed is the day that was agreed with the owner; zero where none was. The
	// line stands where that day puts it, see [Item.ActOn].
	Agreed loops.Day `json:"agreed,omitzero"`
	// Reached is the day the owner was last spoken to about the loop; zero if
	// never since somebody saw to it.
	Reached loops.Day `json:"reached,omitzero"`
	// Reason is the binding reason in half a line.
	Reason string       `json:"reason"`
	Clause loops.Clause `json:"clause"` // the binding one
	// Stage is how far the reminders of the task have come: ahead, due, late,
	// last or call; empty before the first.
	Stage loops.Stage `json:"stage,omitempty"`
}

// Standing says how far off the day is, and what was agreed or said about it:
// "35 days overdue, owner reached on Thu 3 Dec 2026".
func (l Line) Standing() string {
	switch {
	case !l.Agreed.IsZero():
		return DaysOver(l.OverdueDays) + ", agreed for " + l.Agreed.Long()
	case !l.Reached.IsZero():
		return DaysOver(l.OverdueDays) + ", owner reached on " + l.Reached.Long()
	}
	return DaysOver(l.OverdueDays)
}

// Because says why the day is what it is, with the source of the figure.
func (l Line) Because() string {
	return l.Reason + " (" + strings.TrimRight(l.Clause.Source, ".") + ")."
}

// DaysOver says how many days something is past its day: "3 days overdue",
// "today", "in 2 days" where that is still to come.
func DaysOver(days int) string {
	switch {
	case days > 0:
		return loops.Count(days, "day") + " overdue"
	case days == 0:
		return "today"
	}
	return "in " + loops.Count(-days, "day")
}

// CallLine is an owner to be called, and why.
type CallLine struct {
	Line
	Why string `json:"why"`
	// Evidence is what was mailed about it and what became of that; empty where
	// no mail was to go.
	Evidence string `json:"evidence"`
	Letter   bool   `json:"letter,omitempty"` // a printed letter can go instead
}

func lineOf(i Item, today loops.Day, stage loops.Stage) Line {
	return Line{
		Tag: i.Loop.Tag, Machine: i.Machine.Name, Kind: i.Machine.Kind, Owner: i.Owner.Name,
		OwnerID: i.Owner.ID, Phone: i.Owner.Phone, Address: i.Owner.Address, Task: i.Task.Kind,
		Due: i.Task.Due, OverdueDays: today.Sub(i.Task.Due), Reason: Reason(i.Task), Clause: i.Task.Binding(), Stage: stage,
		Agreed: i.Loop.State.Agreed, Reached: i.Loop.State.Reached,
	}
}

// mayWrite tells that a printed letter finds the owner.
func mayWrite(o loops.Owner) bool { return strings.TrimSpace(o.Address) != "" }

// Reason returns the binding reason of a task in half a line: the rule without
// the days it was worked out from.
func Reason(t loops.Task) string {
	rule, _, _ := strings.Cut(t.Binding().Text, ";")
	return strings.TrimSuffix(rule, ".")
}
