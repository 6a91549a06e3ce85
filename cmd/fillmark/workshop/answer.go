// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"slices"
	"time"

	"fillmark/loops"
)

// Answer records what an owner replied through a mail's link, on every loop of
// theirs that has a task the mail can have been about. "Something is off" is
// never lost: where no task is open it goes on record for every loop with a
// charge.
func (w *Workshop) Answer(s Stamp, owner loops.Owner, answer loops.Answer) ([]loops.Tag, error) {
	files, err := w.FilesOf(owner.ID)
	if err != nil {
		return nil, err
	}
	day := w.DayOf(owner, s.At)
	about := slices.DeleteFunc(slices.Clone(files), func(f File) bool { return len(w.OpenTasks(f.Loop, day)) == 0 })
	if len(about) == 0 && answer.Answer == loops.SomethingOff {
		about = slices.DeleteFunc(files, func(f File) bool { return f.Loop.State.Charge == nil })
	}
	var tags []loops.Tag
	for _, file := range about {
		answer.Tasks = w.OpenTasks(file.Loop, day)
		entry := loops.Entry{Kind: loops.KindAnswer, Day: day, Answer: &answer}
		if _, err := w.Record(s, file.Loop.Tag, entry); err != nil {
			return tags, err
		}
		tags = append(tags, file.Loop.Tag)
	}
	return tags, nil
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

// FilesOf reads all loops of one owner.
func (w *Workshop) FilesOf(owner loops.OwnerID) ([]File, error) {
	machines, err := w.register.MachinesOf(owner)
	if err != nil {
		return nil, err
	}
	var files []File
	for _, m := range machines {
		all, err := w.register.LoopsOf(m.ID)
		if err != nil {
			return nil, err
		}
		for _, l := range all {
			file, err := w.fileOf(l)
			if err != nil {
				return nil, err
			}
			files = append(files, file)
		}
	}
	return files, nil
}

// SetMail stops the owner's mail, or lets it run again: only the owner's own
// click comes here.
func (w *Workshop) SetMail(s Stamp, id loops.OwnerID, stop bool) (loops.Owner, error) {
	for attempt := 0; ; attempt++ {
		owner, err := w.register.Owner(id)
		if err != nil {
			return owner, err
		}
		stopped := loops.Day{}
		action := "mail resumed by owner"
		if stop {
			stopped, action = loops.DayOf(s.At, w.zoneOf(owner)), "mail stopped by owner"
		}
		if owner.MailStopped.IsZero() != stop {
			return owner, nil // as wanted already
		}
		owner.MailStopped = stopped
		err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: action, Owners: []loops.Owner{owner}})
		if errors.Is(err, loops.ErrConflict) && attempt < conflictRetries {
			continue
		}
		return owner, err
	}
}

// NextTasks returns the tasks of a plan that are not paused, earliest first.
func NextTasks(p loops.Plan) []loops.Task {
	tasks := slices.DeleteFunc(slices.Clone(p.Tasks), func(t loops.Task) bool { return t.Paused })
	slices.SortStableFunc(tasks, func(a, b loops.Task) int { return a.Due.Compare(b.Due) })
	return tasks
}
