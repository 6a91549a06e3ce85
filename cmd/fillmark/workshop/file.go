// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"slices"

	"fillmark/loops"
	"fillmark/loops/inspection/triage"
	"fillmark/schedule"
)

// File is everything on record about one loop.
type File struct {
	Loop    loops.Loop    `json:"loop"`
	Machine loops.Machine `json:"machine"`
	// Owner is the zero value for a donor unit.
	Owner   loops.Owner   `json:"owner,omitzero"`
	History []loops.Entry `json:"history"`
	// Protection is nil where the charge or its strength is not known.
	Protection *loops.Protection `json:"protection,omitempty"`
	// Scale is nil where nothing was weighed.
	Scale *loops.WeighingSummary `json:"scale,omitempty"`
	// Readings is nil where no temperature was read.
	Readings *schedule.Readings `json:"readings,omitempty"`
	// Shelf is nil unless it was read too.
	Shelf []loops.Container `json:"-"`
}

// File reads everything on record about the loop with the tag.
func (w *Workshop) File(tag loops.Tag) (File, error) {
	return w.file(tag, false)
}

// FileAtShelf is [Workshop.File] and what is on the shelf.
func (w *Workshop) FileAtShelf(tag loops.Tag) (File, error) { return w.file(tag, true) }

// FileBefore is [Workshop.FileAtShelf] as it was when a form with the key was
// sent first: what is worked out for a form from the state of its loop is the same
// when it is sent once more. Where none was sent it is the file as it is.
func (w *Workshop) FileBefore(tag loops.Tag, key string) (File, error) {
	file, err := w.FileAtShelf(tag)
	if err != nil || key == "" {
		return file, err
	}
	e, err := w.register.EntryByKey(key)
	if errors.Is(err, loops.ErrNotFound) || err == nil && e.Loop != file.Loop.ID {
		return file, nil
	}
	file.History = slices.DeleteFunc(file.History, func(x loops.Entry) bool { return x.ID >= e.ID })
	file.Loop.LastEntry, file.Loop.State = e.ID-1, loops.Fold(file.History)
	return file.completed(), err
}

func (w *Workshop) file(tag loops.Tag, shelf bool) (File, error) {
	b, err := w.register.LoopWith(tag, shelf)
	if err != nil {
		return File{}, fmt.Errorf("loop %s: %w", tag, err)
	}
	file := filesIn(b)[0]
	file.Shelf = b.Shelf
	return file, nil
}

// filesIn are the files of loops that were read together.
func filesIn(b loops.Belongings) []File {
	var files []File
	for _, l := range b.Loops {
		i := slices.IndexFunc(b.Machines, func(m loops.Machine) bool { return m.ID == l.Machine })
		files = append(files, File{Loop: l, Machine: b.Machines[i], Owner: b.Owner, History: b.Histories[l.ID]}.completed())
	}
	return files
}

// completed is the file with what follows from it.
func (f File) completed() File {
	f.Protection = f.Loop.Protection()
	f.Scale = loops.WeighingSummaryOf(f.Loop, f.History)
	f.Readings = schedule.ReadingsOf(f.Loop, f.History)
	return f
}

func (w *Workshop) fileOf(loop loops.Loop) (File, error) {
	file := File{Loop: loop}
	var err error
	if file.Machine, err = w.register.Machine(loop.Machine); err != nil {
		return File{}, fmt.Errorf("machine %d: %w", loop.Machine, err)
	}
	if file.Machine.Owner != 0 {
		if file.Owner, err = w.register.Owner(file.Machine.Owner); err != nil {
			return File{}, fmt.Errorf("owner %d: %w", file.Machine.Owner, err)
		}
	}
	if file.History, err = w.register.History(loop.ID); err != nil {
		return File{}, err
	}
	return file.completed(), nil
}

// Seen is what is on record that the triage starts from: the newest readings,
// and what the steps of this visit found.
func (f File) Seen() triage.Seen {
	if f.Readings != nil && f.Readings.Last != nil {
		return f.Readings.Last.Seen
	}
	return triage.Seen{Sealed: f.Loop.Sealed, Signs: schedule.SignsFound(f.Loop, f.History)}
}
