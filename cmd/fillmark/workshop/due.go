// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/schedule"
)

// DueList is what a workshop has before it.
type DueList struct {
	schedule.TechnicianList
	// Notices say what several openings have in common.
	Notices []loops.EvidenceNotice `json:"notices"`
}

// lookAhead is how many days of later tasks the list reads.
const lookAhead = 60

// Due returns the technician's list at the instant, for reading only.
func (w *Workshop) Due(at time.Time) (DueList, error) {
	list, err := w.technicianList(at)
	if err != nil {
		return DueList{}, err
	}
	evidence, err := w.register.Evidence()
	if err != nil {
		return DueList{}, err
	}
	return DueList{list, append([]loops.EvidenceNotice{}, evidence.Notices...)}, nil
}

// items reads the tasks due up to a day with their loops, machines and
// owners, and what was written about them by the instant. Its cost grows with
// what is due, not with the register.
func (w *Workshop) items(through loops.Day, at time.Time) ([]schedule.Item, error) {
	dues, err := w.register.DueThrough(through)
	if err != nil {
		return nil, err
	}
	return w.itemsOf(dues, nil, at)
}

// itemsOf reads what stands around tasks, and their loops unless they were read.
func (w *Workshop) itemsOf(dues []loops.Due, read map[loops.LoopID]loops.Loop, at time.Time) ([]schedule.Item, error) {
	ahead, err := w.aheadOfDues(dues, read)
	if err != nil {
		return nil, err
	}
	var items []schedule.Item
	known := w.Through(ahead)
	for _, due := range dues {
		item, err := known.item(due, at)
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

// item reads a task that is due with what stands around it.
func (w *Workshop) item(due loops.Due, at time.Time) (schedule.Item, error) {
	var item schedule.Item
	var err error
	if item.Loop, err = w.register.Loop(due.Loop); err != nil {
		return item, fmt.Errorf("due loop %d: %w", due.Loop, err)
	}
	for _, t := range item.Loop.Plan.Tasks {
		if t.Kind == due.Task && t.Due == due.Day {
			item.Task = t
		}
	}
	if item.Task.Kind == "" {
		return item, errStaleDue
	}
	if item.Machine, err = w.register.Machine(item.Loop.Machine); err != nil {
		return item, fmt.Errorf("machine %d: %w", item.Loop.Machine, err)
	}
	if id := item.Machine.Owner; id != 0 {
		if item.Owner, err = w.register.Owner(id); err != nil {
			return item, fmt.Errorf("owner %d: %w", id, err)
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
