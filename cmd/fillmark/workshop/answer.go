// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
)

// AnswerAbout records what an owner replied through a mail's link, on every loop of
// theirs that has a task the mail can have been about, or the one with the tag where
// that is not empty, in one change with the receipt that is mailed. "All fine" settles
// looks only, and nothing where none is open. No other answer is lost: it then goes on
// record for every loop with a charge, or for all where none has one. What the owner said last, on the same day, is
// not put down again. A tag of somebody else's loop is loops.ErrNotFound.
func (w *Workshop) AnswerAbout(s Stamp, owner loops.Owner, answer loops.Answer, only loops.Tag) ([]loops.Tag, error) {
	return retried(w, func() ([]loops.Tag, error) { return w.answerOnce(s, owner, answer, only) })
}

// NotMe is for an owner in whose name somebody else used a link: it ends every
// link that they were sent and asks for a call about each of their loops, in one
// change with a receipt whose links are new.
func (w *Workshop) NotMe(s Stamp, id loops.OwnerID) error {
	_, err := retried(w, func() ([]loops.Tag, error) {
		owner, err := w.register.Owner(id)
		if err != nil {
			return nil, err
		}
		asks := loops.Answer{Answer: loops.CallMe, Words: "What was answered through my link before did not come from me."}
		change := loops.Change{At: s.At, By: s.By, Action: "links ended by owner", Owners: []loops.Owner{owner.LinksEnded()}}
		return w.answerInto(s, change.Owners[0], asks, "", "", change)
	})
	return err
}

func (w *Workshop) answerOnce(s Stamp, owner loops.Owner, answer loops.Answer, only loops.Tag) ([]loops.Tag, error) {
	if said, err := w.saidToday(s, owner, answer, only); err != nil || said {
		return nil, err
	}
	return w.answerInto(s, owner, answer, only, "", loops.Change{At: s.At, By: s.By, Action: "answer"})
}

// answerInto commits a change with the answer, a note of ours about it and its
// receipt in it; one that holds nothing then is not committed.
func (w *Workshop) answerInto(s Stamp, owner loops.Owner, answer loops.Answer, only loops.Tag, note string, change loops.Change) ([]loops.Tag, error) {
	if err := answer.CheckDay(w.DayOf(owner, s.At)); err != nil {
		return nil, err
	}
	files, err := w.filesOf(owner.ID)
	if err != nil {
		return nil, err
	}
	if only != "" {
		files = slices.DeleteFunc(files, func(f File) bool { return f.Loop.Tag != only })
		if len(files) == 0 {
			return nil, fmt.Errorf("loop %s: %w", only, loops.ErrNotFound)
		}
	}
	if err := noticesShow(answer.Noticed, files); err != nil {
		return nil, err
	}
	answer.Noticed = loops.NoticesOn(false, answer.Noticed)
	day := w.DayOf(owner, s.At)
	about := slices.DeleteFunc(slices.Clone(files), func(f File) bool { return len(w.answered(answer.Answer, f.Loop, day)) == 0 })
	if len(about) == 0 && answer.Answer != loops.AllFine {
		about = slices.DeleteFunc(slices.Clone(files), func(f File) bool { return f.Loop.State.Charge == nil })
		if len(about) == 0 {
			about = files
		}
	}
	var tags []loops.Tag
	for n, file := range about {
		answer.Tasks = w.answered(answer.Answer, file.Loop, day)
		said := answer
		said.Noticed = loops.NoticesOn(file.Loop.Sealed, answer.Noticed)
		one, then, err := w.enter(s, file, loops.Entry{Kind: loops.KindAnswer, Day: day, Answer: &said, Note: note})
		if err != nil {
			return nil, err
		}
		about[n] = then
		change.Loops, change.Entries = append(change.Loops, one.Loops...), append(change.Entries, one.Entries...)
		tags = append(tags, file.Loop.Tag)
	}
	if len(tags) > 0 {
		if err := w.addReceipt(s, owner, answer, forOwner(about), &change); err != nil {
			return nil, err
		}
	} else if len(change.Owners) == 0 && change.Mail == nil {
		return nil, nil
	}
	return tags, w.register.Commit(change)
}

// noticesShow refuses a notice that no loop of the answer can show: a sealed one
// has no level to look at.
func noticesShow(noticed []loops.Notice, files []File) error {
	var can []loops.Notice
	for _, f := range files {
		can = append(can, loops.Notices(f.Loop.Sealed)...)
	}
	for _, s := range noticed {
		if !slices.Contains(can, s) {
			return &loops.InvalidError{Field: "noticed", Value: string(s), Reason: "what shows on that machine"}
		}
	}
	return nil
}

// enter makes the change that appends an entry to a loop's history, and the file
// as it is then.
func (w *Workshop) enter(s Stamp, file File, e loops.Entry) (loops.Change, File, error) {
	change := loops.Change{At: s.At, By: s.By}
	e, err := w.checked(s, file, e)
	if err != nil {
		return change, file, err
	}
	change.Entries = append(change.Entries, e)
	file = file.with(e)
	file.Loop, err = w.replan(&change, file)
	return change, file, err
}

// answered lists the open tasks that an answer of the kind is about.
func (w *Workshop) answered(kind loops.AnswerKind, l loops.Loop, day loops.Day) []loops.TaskKind {
	open := w.OpenTasks(l, day)
	if kind == loops.AllFine {
		open = slices.DeleteFunc(open, func(t loops.TaskKind) bool { return t != loops.Look })
	}
	return open
}

// DayOf returns the owner's civil day at the instant.
func (w *Workshop) DayOf(o loops.Owner, at time.Time) loops.Day {
	return loops.DayOf(at, w.zoneOf(o))
}

// OpenTasks lists the tasks an owner may have been reminded of by the day.
func (w *Workshop) OpenTasks(l loops.Loop, day loops.Day) []loops.TaskKind {
	var open []loops.TaskKind
	for _, t := range l.Plan.Tasks {
		if !t.Paused && !t.Due.AddDays(-w.settings.Policy.AheadDays).After(day) {
			open = append(open, t.Kind)
		}
	}
	return open
}

// filesOf reads all loops of one owner.
func (w *Workshop) filesOf(owner loops.OwnerID) ([]File, error) {
	b, err := w.register.BelongingsOf(owner, true)
	return filesIn(b), err
}

// SetMail stops the mail to the owner's address, or starts it again: only a
// click in a mail to that address comes here. It binds every record with the
// address, since it is the reader of its mail who asks.
func (w *Workshop) SetMail(s Stamp, id loops.OwnerID, stop bool) (loops.Owner, error) {
	return w.setMail(s, id, stop, nil)
}

// setMail is [Workshop.SetMail], by a mail where one is given.
func (w *Workshop) setMail(s Stamp, id loops.OwnerID, stop bool, by *loops.MailRead) (loops.Owner, error) {
	return retried(w, func() (loops.Owner, error) {
		owner, err := w.register.Owner(id)
		if err != nil {
			return owner, err
		}
		change := loops.Change{At: s.At, By: s.By, Mail: by}
		stopped, action := loops.Day{}, "mail resumed by owner"
		if stop {
			stopped, action = loops.DayOf(s.At, w.zoneOf(owner)), "mail stopped by owner"
		}
		change.Action = action
		if owner.MailStopped.IsZero() != stop {
			return owner, w.register.Commit(change) // as wanted already
		}
		for o, err := range w.register.Owners() {
			if err != nil {
				return owner, err
			}
			if o.ID == id || o.Email != "" && strings.EqualFold(o.Email, owner.Email) && o.MailStopped.IsZero() == stop {
				o.MailStopped = stopped
				change.Owners = append(change.Owners, o)
			}
		}
		owner.MailStopped = stopped
		return owner, w.register.Commit(change)
	})
}

// bindStops finds the records that get an address whose reader stopped the mail
// before, under another record, and has each bound to that day.
func (w *Workshop) bindStops(owners []loops.Owner, bind func(i int, day loops.Day)) error {
	if !slices.ContainsFunc(owners, func(o loops.Owner) bool { return o.Email != "" && o.MailStopped.IsZero() }) {
		return nil
	}
	stopped := map[string]loops.Day{}
	for o, err := range w.register.Owners() {
		if err != nil {
			return err
		}
		if !o.MailStopped.IsZero() {
			stopped[strings.ToLower(o.Email)] = o.MailStopped
		}
	}
	delete(stopped, "")
	for i, o := range owners {
		if day, ok := stopped[strings.ToLower(o.Email)]; ok && o.MailStopped.IsZero() {
			bind(i, day)
		}
	}
	return nil
}

// NextTasks returns the tasks of a plan that are not paused, earliest first.
func NextTasks(p loops.Plan) []loops.Task {
	tasks := slices.DeleteFunc(slices.Clone(p.Tasks), func(t loops.Task) bool { return t.Paused })
	slices.SortStableFunc(tasks, func(a, b loops.Task) int { return a.Due.Compare(b.Due) })
	return tasks
}
