// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"slices"
	"time"

	"fillmark/loops"
)

// Item is one task of a loop together with the machine the loop is in and its
// owner.
type Item struct {
	Owner   loops.Owner
	Machine loops.Machine
	Loop    loops.Loop
	Task    loops.Task
	// Zone is the owner's, loaded by the caller; nil stands for the workshop's.
	Zone *time.Location
	// MailFault says why mail does not reach the owner's address; empty where
	// it does.
	MailFault string
	// Letters is what was written to this owner about the task so far.
	Letters Letters
}

// Staged is an item with the stage it has reached.
type Staged struct {
	Item
	Stage loops.Stage
}

// Topic is what a letter about this item speaks of.
func (s Staged) Topic() loops.Topic {
	return loops.Topic{Loop: s.Loop.ID, Task: s.Task.Kind, Due: s.Task.Due, Stage: s.Stage}
}

// Tone is how a letter about this item may speak, see [Letters.Tone].
func (s Staged) Tone() loops.Stage { return s.Letters.Tone(s.Stage) }

// Reminder is one mail to one owner about every task that calls for one on
// the owner's day.
type Reminder struct {
	Owner loops.Owner
	Day   loops.Day   // in the owner's zone
	Stage loops.Stage // the furthest tone of the items'
	Items []Staged    // by due day, loop and task
}

// Key returns the key of the message: one reminder per owner and owner's day.
func (r Reminder) Key() loops.MessageKey {
	return loops.NewMessageKey(r.Owner.ID, r.Day, loops.PurposeReminder, "")
}

// About is what the letter speaks of.
func (r Reminder) About() []loops.Topic {
	about := make([]loops.Topic, len(r.Items))
	for i, item := range r.Items {
		about[i] = item.Topic()
	}
	return about
}

// Collapse gathers items into one reminder per owner, ordered by owner, each with
// as many as one letter takes. The
// days and stages are taken as given; day returns an owner's day for an item.
func Collapse(items []Staged, day func(Item) loops.Day) []Reminder {
	items = slices.Clone(items)
	slices.SortStableFunc(items, func(a, b Staged) int {
		return cmp.Or(cmp.Compare(a.Owner.ID, b.Owner.ID), compareItems(a.Item, b.Item))
	})
	var reminders []Reminder
	for _, item := range items {
		last := len(reminders) - 1
		if last < 0 || reminders[last].Owner.ID != item.Owner.ID {
			reminders = append(reminders, Reminder{Owner: item.Owner, Day: day(item.Item)})
			last++
		}
		reminders[last].Items = append(reminders[last].Items, item)
	}
	for i := range reminders {
		r := &reminders[i]
		r.Items = most(r.Items)
		for _, item := range r.Items {
			r.Stage = further(r.Stage, item.Tone())
		}
	}
	return reminders
}

func compareItems(a, b Item) int {
	return cmp.Or(a.Task.Due.Compare(b.Task.Due), cmp.Compare(a.Loop.ID, b.Loop.ID),
		cmp.Compare(slices.Index(loops.TaskKinds(), a.Task.Kind), slices.Index(loops.TaskKinds(), b.Task.Kind)))
}

// SweepInput is what a sweep decides from.
type SweepInput struct {
	Now    time.Time
	Policy loops.Policy
	// Zone is the workshop's, for owners without one of their own.
	Zone *time.Location
	// Hour is when an owner's mail may go out, 0 to 23 in the owner's zone.
	Hour int
	// Items are the tasks due up to [Horizon]; others do no harm.
	Items []Item
	// Mailed tells whether a message is on record, so that an owner who had
	// today's reminder waits for tomorrow's with what came up since. It must be
	// set.
	Mailed func(loops.MessageKey) bool
	// Waiting tells whether a letter to the owner has not left yet: a reminder
	// will say what is due on the day that it leaves. Nil stands for none.
	Waiting func(loops.OwnerID) bool
	// Posted lists the letters that left to the owner in the last year. Nil stands
	// for none.
	Posted func(loops.OwnerID) []Posted
}

// Swept is what a sweep found: reminders to compose, and calls for the
// technician's list, both ordered.
type Swept struct {
	Reminders []Reminder
	Calls     []Call
}

// Sweep decides whom to remind and whom to call now. It changes nothing and
// keeps nothing: once the reminders are on record, sweeping
// again returns no reminder. What one visit can settle is one letter, and letters
// to an owner keep the policy's distance, but for one about a leak or a liquid
// that does not belong there. A stage that was missed, while the program did
// not run or another letter was too near, is not made up for; nor is one that a
// later stage has overtaken, should the clock have been set back. Paused tasks
// are left out.
func Sweep(in SweepInput) Swept {
	var swept Swept
	var open, mail []Staged
	day := func(i Item) loops.Day { return loops.DayOf(in.Now, in.zone(i)) }
	for _, item := range in.Items {
		if item.Task.Paused {
			continue
		}
		stage, ok := StageOn(in.Policy, item.Task.Due, day(item))
		staged := Staged{item, stage}
		if ok {
			if call, ok := newCall(in.Policy, staged, day(item)); ok {
				swept.Calls = append(swept.Calls, call)
			}
		}
		if staged.joins() && in.open(staged, day(item)) {
			open = append(open, staged)
		}
	}
	for _, a := range appointments(in.Policy, open) {
		if items, urgent := letter(a); len(items) > 0 && in.mayWrite(items[0].Item, day(items[0].Item), urgent) {
			mail = append(mail, items...)
		}
	}
	swept.Reminders = Collapse(mail, day)
	slices.SortStableFunc(swept.Calls, func(a, b Call) int { return compareItems(a.Item, b.Item) })
	return swept
}

func (in SweepInput) zone(i Item) *time.Location {
	if i.Zone != nil {
		return i.Zone
	}
	return in.Zone
}

// AnsweredFor returns the day on which the owner answered the reminders of a
// task's present due day; ok is false where they did not. An answer counts for
// every due day whose reminders had begun by then, and for no later one.
func AnsweredFor(p loops.Policy, l loops.Loop, t loops.Task) (on loops.Day, ok bool) {
	on = l.State.AnsweredOn(t.Kind)
	return on, !on.IsZero() && !t.Due.After(on.AddDays(p.AheadDays))
}

// open tells whether the task is mail's matter: not answered, not spoken of, and
// nothing but its stage asks for a call.
func (in SweepInput) open(s Staged, today loops.Day) bool {
	_, answered := AnsweredFor(in.Policy, s.Loop, s.Task)
	return !answered && !spoken(s.Loop.State, today) && whyCall(in.Policy, Staged{s.Item, loops.StageAhead}, today) == ""
}

// mayWrite tells whether a letter may go to the owner of the item now.
func (in SweepInput) mayWrite(i Item, today loops.Day, urgent bool) bool {
	switch {
	case in.Now.Before(SendableAt(today, in.Hour, in.zone(i))),
		in.Mailed(Reminder{Owner: i.Owner, Day: today}.Key()),
		in.Waiting != nil && in.Waiting(i.Owner.ID):
		return false
	}
	return urgent || in.Posted == nil || MayRemind(in.Policy, in.Posted(i.Owner.ID), today)
}
