// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"slices"
	"strings"

	"fillmark/loops"
)

// TechnicianList is what a workshop has before it on a day. Every task stands
// in exactly one of the first four groups, and in Call as well where the owner
// is to be called.
type TechnicianList struct {
	Overdue []Line // the longest overdue first
	Today   []Line
	Week    []Line // in the next seven days
	Later   []Line
	Call    []Call // whom to call and why, the longest overdue first
}

// Line is one task on the technician's list.
type Line struct {
	Item
	// Days is how many days the task is overdue; negative before its day.
	Days int
	// Reason is the binding reason in half a line.
	Reason string
	// Stage is how far the reminders of the task have come by the day of the
	// list; empty before the first.
	Stage loops.Stage
}

// List sorts tasks into the technician's list for the workshop's day. Paused
// tasks are left out.
func List(p loops.Policy, today loops.Day, items []Item) TechnicianList {
	items = slices.DeleteFunc(slices.Clone(items), func(i Item) bool { return i.Task.Paused })
	slices.SortStableFunc(items, compareItems)
	var list TechnicianList
	for _, item := range items {
		stage, ok := StageOn(p, item.Task.Due, today)
		line := Line{item, today.Sub(item.Task.Due), Reason(item.Task), stage}
		switch {
		case line.Days > 0:
			list.Overdue = append(list.Overdue, line)
		case line.Days == 0:
			list.Today = append(list.Today, line)
		case line.Days >= -7:
			list.Week = append(list.Week, line)
		default:
			list.Later = append(list.Later, line)
		}
		staged := Staged{item, stage}
		if reason := whyCall(p, staged); (ok || !item.Loop.State.Asked.IsZero()) && reason != "" {
			list.Call = append(list.Call, callAbout(staged, reason))
		}
	}
	return list
}

// Reason returns the binding reason of a task in half a line: the rule without
// the days it was worked out from.
func Reason(t loops.Task) string {
	rule, _, _ := strings.Cut(t.Binding().Text, ";")
	return strings.TrimSuffix(rule, ".")
}
