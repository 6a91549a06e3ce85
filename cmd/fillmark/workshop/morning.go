// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"slices"
	"time"

	"fillmark/loops"
	"fillmark/schedule"
)

// Morning is the technician's list of a day: [DueList] and what else the day
// asks for. Lists are ordered, the most pressing first, and never nil.
type Morning struct {
	DueList
	Promised    []schedule.Promised      `json:"promised_back"`
	Containers  []schedule.OldContainer  `json:"containers_expiring"`
	Instruments []schedule.OldInstrument `json:"instruments_to_check"`
	Bring       []Bring                  `json:"bring"`
}

// Morning returns the technician's list at the instant. Unlike [Workshop.Due]
// it reads every machine once.
func (w *Workshop) Morning(at time.Time) (Morning, error) {
	due, err := w.Due(at)
	if err != nil {
		return Morning{}, err
	}
	m := Morning{DueList: due}
	shelf, err := gather(w.register.Containers())
	if err != nil {
		return Morning{}, err
	}
	m.Containers = schedule.Expiring(shelf, due.Day)
	instruments, err := gather(w.register.Instruments())
	if err != nil {
		return Morning{}, err
	}
	m.Instruments = schedule.Unchecked(instruments, due.Day)
	if m.Promised, err = w.promised(due.Day); err != nil {
		return Morning{}, err
	}
	m.Bring, err = w.bring(slices.Concat(due.Overdue, due.Today, due.Week), shelf)
	return m, err
}

func gather[T any](records func(func(T, error) bool)) ([]T, error) {
	var all []T
	for record, err := range records {
		if err != nil {
			return nil, err
		}
		all = append(all, record)
	}
	return all, nil
}

// promised lists the machines in the workshop that were promised back.
func (w *Workshop) promised(today loops.Day) ([]schedule.Promised, error) {
	var machines []loops.Machine
	var ids []loops.MachineID
	var owners []loops.OwnerID
	for machine, err := range w.register.Machines() {
		if err != nil {
			return nil, err
		}
		if !machine.PromisedBack.IsZero() { // few are
			machines, ids, owners = append(machines, machine), append(ids, machine.ID), append(owners, machine.Owner)
		}
	}
	inside, err := w.register.LoopsInside(ids)
	if err != nil {
		return nil, err
	}
	of, err := w.register.OwnersWith(owners)
	if err != nil {
		return nil, err
	}
	out := []schedule.Promised{}
	for _, machine := range machines {
		if p, ok := schedule.PromiseOf(machine, of[machine.Owner], inside[machine.ID], today); ok {
			out = append(out, p)
		}
	}
	slices.SortStableFunc(out, func(a, b schedule.Promised) int { return a.Day.Compare(b.Day) })
	return out, nil
}
