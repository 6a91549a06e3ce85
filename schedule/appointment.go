// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"slices"

	"fillmark/loops"
)

// Posted is a letter that an owner had, or may have had.
type Posted struct {
	Day loops.Day // the owner's, on which it left
	// Reminder tells that it counts for the year; the letter of a machine's going
	// does not, since somebody caused it.
	Reminder bool
}

// yearDays is the span in which the letters of a year are counted.
const yearDays = 365

// MayRemind tells whether one more reminder may go to an owner on the day, after
// the letters that they had: not sooner than the spacing after the last letter,
// and not more in a year than the policy allows.
func MayRemind(p loops.Policy, had []Posted, today loops.Day) bool {
	reminders := 0
	for _, l := range had {
		if l.Reminder && today.Sub(l.Day) < yearDays {
			reminders++
		}
	}
	return !TooNear(p, had, today) && (p.LettersAYear == 0 || reminders < p.LettersAYear)
}

// TooNear tells that the day is sooner than the spacing after the last letter that an
// owner had.
func TooNear(p loops.Policy, had []Posted, today loops.Day) bool {
	return slices.ContainsFunc(had, func(l Posted) bool { return today.Sub(l.Day) < p.SpacingDays })
}

// appointments joins the open tasks of an owner that one visit can settle: all
// that fall due within the policy's days of the first. They come ordered by owner
// and day, and each has at least one task.
func appointments(p loops.Policy, open []Staged) [][]Staged {
	open = slices.SortedStableFunc(slices.Values(open), func(a, b Staged) int {
		return cmp.Or(cmp.Compare(a.Owner.ID, b.Owner.ID), compareItems(a.Item, b.Item))
	})
	var all [][]Staged
	for _, s := range open {
		last := len(all) - 1
		if last < 0 || all[last][0].Owner.ID != s.Owner.ID || s.Task.Due.Sub(all[last][0].Task.Due) > p.JoinDays {
			all = append(all, nil)
			last++
		}
		all[last] = append(all[last], s)
	}
	return all
}

// letter is what a letter about the appointment speaks of now; nothing where none
// is to go. Its first day sets the pace: while a person is to call about what is due
// then, mail about the rest of the visit waits too. Urgent tells that it waits for
// no other letter.
func letter(appointment []Staged) (items []Staged, urgent bool) {
	first := appointment[0]
	urgent = slices.ContainsFunc(appointment, Staged.urgent)
	news := slices.ContainsFunc(appointment, func(s Staged) bool {
		return s.unsaid() || s.Task.Due == first.Task.Due && s.Stage != "" && !s.Letters.had(s.Stage)
	})
	if !urgent && (!news || first.Stage == loops.StageCall) {
		return nil, false
	}
	for _, s := range appointment {
		if s.Stage != loops.StageCall {
			s.Stage = further(s.Stage, loops.StageAhead)
			items = append(items, s)
		}
	}
	return items, urgent
}

// MostTasks is how many tasks one letter speaks of (common practice, no source).
const MostTasks = 60

// most takes as many items as go into one letter, first those that the owner heard
// least of: the others are left unsaid, and go with the next one.
func most(items []Staged) []Staged {
	if len(items) <= MostTasks {
		return items
	}
	heard := func(s Staged) int {
		switch {
		case s.urgent():
			return 0
		case s.unsaid():
			return 1
		case !s.Letters.had(s.Stage):
			return 2
		}
		return 3
	}
	items = slices.SortedStableFunc(slices.Values(items), func(a, b Staged) int { return cmp.Compare(heard(a), heard(b)) })[:MostTasks]
	return slices.SortedFunc(slices.Values(items), func(a, b Staged) int { return compareItems(a.Item, b.Item) })
}

// urgent tells that a condition of the loop asks for the task, a leak or a liquid
// that does not belong there, and that nobody was written to about it.
func (s Staged) urgent() bool {
	return s.unsaid() &&
		slices.ContainsFunc(s.Loop.State.Conditions(), func(c loops.Condition) bool { return c.Task == s.Task.Kind })
}

// unsaid tells that the task's reminders have begun and nobody was written to
// about it.
func (s Staged) unsaid() bool {
	return s.Stage != "" && s.Stage != loops.StageCall && len(s.Letters.Stages) == 0
}

// joins tells whether a task may be spoken of on the owner's day: work in the
// workshop as soon as a visit comes up, the owner's own look not before its
// reminders begin.
func (s Staged) joins() bool {
	about, _ := loops.AboutTask(s.Task.Kind)
	return s.Stage != "" || !about.ByOwner
}

// SameAppointment tells whether two letters are about one appointment: they share
// a task, due within half an appointment's span: a reading moves a day a little,
// and a look comes round within a month.
func SameAppointment(p loops.Policy, a, b []loops.Topic) bool {
	return slices.ContainsFunc(a, func(x loops.Topic) bool {
		return slices.ContainsFunc(b, func(y loops.Topic) bool {
			return x.Task != "" && x.Loop == y.Loop && x.Task == y.Task && max(x.Due.Sub(y.Due), y.Due.Sub(x.Due)) <= p.JoinDays/2
		})
	})
}
