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
	known := w.Through(ahead).around()
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

// around is what stands around the tasks of one list, each read once: a loop has
// several tasks, an owner several loops.
type around struct {
	w        *Workshop
	loops    map[loops.LoopID]loops.Loop
	machines map[loops.MachineID]loops.Machine
	owners   map[loops.OwnerID]ownerAround
}

func (w *Workshop) around() around {
	return around{w, map[loops.LoopID]loops.Loop{}, map[loops.MachineID]loops.Machine{}, map[loops.OwnerID]ownerAround{}}
}

// ownerAround is an owner, and why mail does not reach them.
type ownerAround struct {
	loops.Owner
	fault string
}

// once reads a record that is not known yet.
func once[K comparable, T any](known map[K]T, key K, read func(K) (T, error)) (T, error) {
	if is, ok := known[key]; ok {
		return is, nil
	}
	is, err := read(key)
	if err == nil {
		known[key] = is
	}
	return is, err
}

// owner reads an owner; nobody is one that mail has no fault with.
func (a around) owner(id loops.OwnerID) (is ownerAround, err error) {
	if id != 0 {
		if is.Owner, err = a.w.register.Owner(id); err != nil {
			return is, fmt.Errorf("owner %d: %w", id, err)
		}
	}
	is.fault, err = a.w.mailFault(is.Owner)
	return is, err
}

func (a around) item(due loops.Due, at time.Time) (schedule.Item, error) {
	loop, err := once(a.loops, due.Loop, a.w.register.Loop)
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
	if item.Machine, err = once(a.machines, loop.Machine, a.w.register.Machine); err != nil {
		return item, fmt.Errorf("machine %d: %w", loop.Machine, err)
	}
	owner, err := once(a.owners, item.Machine.Owner, a.owner)
	if err != nil {
		return item, err
	}
	item.Owner, item.MailFault, item.Zone = owner.Owner, owner.fault, a.w.zoneOf(owner.Owner)
	item.Letters, err = a.w.lettersAbout(item.Owner, loop.ID, item.Task, at, "")
	return item, err
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
