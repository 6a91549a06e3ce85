// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"slices"

	"fillmark/loops"
)

// Listing is a technician's list that is kept up to date: what one loop has on it
// can be replaced without the others being looked at again.
type Listing struct {
	policy loops.Policy
	today  loops.Day
	placed []*placed // in the order of the list
}

// placed is one task in its place.
type placed struct {
	loop    loops.LoopID
	machine loops.MachineID
	on      loops.Day // to act on it
	kind    int       // of [loops.TaskKinds]
	// pending tells that a letter about it counts as arrived once time has gone
	// by, though nothing is written then.
	pending bool
	line    Line
	call    *CallLine // nil where nobody has to call
}

// NewListing sorts tasks into the list for the workshop's day, each by the day
// to act on. Paused tasks are left out.
func NewListing(p loops.Policy, today loops.Day, items []Item) *Listing {
	l := &Listing{policy: p, today: today}
	l.placed = l.place(items)
	return l
}

// Day is the workshop's day that the list is for.
func (l *Listing) Day() loops.Day { return l.today }

// place puts tasks in order.
func (l *Listing) place(items []Item) []*placed {
	var all []*placed
	for i := range items {
		if !items[i].Task.Paused {
			all = append(all, l.placeOf(&items[i]))
		}
	}
	slices.SortStableFunc(all, comparePlaced)
	return all
}

func (l *Listing) placeOf(item *Item) *placed {
	stage, ok := StageOn(l.policy, item.Task.Due, l.today)
	is := &placed{
		loop: item.Loop.ID, machine: item.Machine.ID, on: item.ActOn(), kind: slices.Index(loops.TaskKinds(), item.Task.Kind),
		pending: item.Letters.Pending > 0, line: lineOf(*item, l.today, stage),
	}
	if state := item.Loop.State; ok || state.Wanted() || !state.Agreed.IsZero() {
		if call, ok := newCall(l.policy, Staged{*item, stage}, l.today); ok {
			is.call = &CallLine{is.line, call.Reason, call.Evidence, call.Letter}
		}
	}
	return is
}

func comparePlaced(a, b *placed) int {
	return cmp.Or(a.on.Compare(b.on), a.line.Due.Compare(b.line.Due), cmp.Compare(a.loop, b.loop), cmp.Compare(a.kind, b.kind))
}

// Concerned are the loops whose place on the list may be another once those
// records were written: they and what belongs to them is to be read again. So is
// a loop with a letter that may count as arrived by now.
func (l *Listing) Concerned(t loops.Touched) map[loops.LoopID]bool {
	all := map[loops.LoopID]bool{}
	for id := range t.Loops {
		all[id] = true
	}
	for _, is := range l.placed {
		if is.pending || t.Machines[is.machine] || t.Owners[is.line.OwnerID] {
			all[is.loop] = true
		}
	}
	return all
}

// Replace puts the items where the loops' tasks stood: all that those loops have
// on the list now.
func (l *Listing) Replace(of map[loops.LoopID]bool, items []Item) {
	fresh := l.place(items)
	merged := make([]*placed, 0, len(l.placed)+len(fresh))
	for _, is := range l.placed {
		if of[is.loop] {
			continue
		}
		for len(fresh) > 0 && comparePlaced(fresh[0], is) < 0 {
			merged, fresh = append(merged, fresh[0]), fresh[1:]
		}
		merged = append(merged, is)
	}
	l.placed = append(merged, fresh...)
}

// List is the list as it stands.
func (l *Listing) List() TechnicianList {
	list := TechnicianList{Day: l.today, Call: []CallLine{}}
	lines := make([]Line, len(l.placed)) // the groups follow each other in it
	for i, is := range l.placed {
		lines[i] = is.line
		if is.call != nil {
			list.Call = append(list.Call, *is.call)
		}
	}
	until := func(days int) (group []Line) {
		n := 0
		for n < len(lines) && l.placed[len(l.placed)-len(lines)+n].on.Sub(l.today) <= days {
			n++
		}
		group, lines = lines[:n:n], lines[n:]
		return group
	}
	list.Overdue, list.Today, list.Week, list.Later = until(-1), until(0), until(7), lines
	return list
}
