// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Morning is the technician's list of a day: [DueList] and what else the day
// asks for. Lists are ordered, the most pressing first, and never nil.
type Morning struct {
	DueList
	Promised    []Promised      `json:"promised_back"`
	Containers  []OldContainer  `json:"containers_expiring"`
	Instruments []OldInstrument `json:"instruments_to_check"`
	Bring       []Bring         `json:"bring"`
}

// Promised is a machine in the workshop with the day it was promised back.
type Promised struct {
	Machine string      `json:"machine"`
	Owner   string      `json:"owner"`
	Phone   string      `json:"phone,omitempty"`
	Tags    []loops.Tag `json:"tags"`
	Day     loops.Day   `json:"day"`
	// OverdueDays is negative before the day.
	OverdueDays int `json:"overdue_days"`
}

// Sentence says it in one line.
func (p Promised) Sentence() string {
	return fmt.Sprintf("%s, %s (%s): %s, %s.", p.Machine, cmp.Or(p.Owner, "no owner"), cmp.Or(p.Phone, noPhone), p.Day.Long(), DaysOver(p.OverdueDays))
}

// OldContainer is a container whose content is or will soon be out of date.
type OldContainer struct {
	ID      loops.ContainerID `json:"id"`
	Product string            `json:"product"`
	Lot     string            `json:"lot,omitempty"`
	Expires loops.Day         `json:"expires"`
	// OverdueDays is negative before the day.
	OverdueDays int             `json:"overdue_days"`
	Left        chemistry.Litre `json:"left_l"`
}

// Sentence says it in one line.
func (c OldContainer) Sentence() string {
	what := c.Product
	if c.Lot != "" {
		what += ", lot " + c.Lot
	}
	return fmt.Sprintf("%s, %s left: good until %s, %s.", what, c.Left, c.Expires.Long(), DaysOver(c.OverdueDays))
}

// OldInstrument is one that was not checked lately.
type OldInstrument struct {
	ID   loops.InstrumentID   `json:"id"`
	Name string               `json:"name"`
	Kind loops.InstrumentKind `json:"kind"`
	// Checked is the day of the last check; zero if never.
	Checked loops.Day `json:"checked,omitzero"`
}

// Sentence says it in one line.
func (i OldInstrument) Sentence() string {
	if i.Checked.IsZero() {
		return fmt.Sprintf("%s (%s): never checked.", i.Name, i.Kind)
	}
	return fmt.Sprintf("%s (%s): last checked on %s.", i.Name, i.Kind, i.Checked.Long())
}

// How far ahead the morning looks, in days, and how old the check of an
// instrument may be (common practice, no source).
const (
	promisedAhead   = 7
	containerAhead  = 30
	instrumentCheck = 30
)

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
	m.Containers = expiring(shelf, due.Day)
	if m.Instruments, err = w.unchecked(due.Day); err != nil {
		return Morning{}, err
	}
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

func expiring(shelf []loops.Container, today loops.Day) []OldContainer {
	out := []OldContainer{}
	for _, c := range shelf {
		if c.Left > 0 && !c.Expires.IsZero() && !c.Expires.After(today.AddDays(containerAhead)) {
			out = append(out, OldContainer{c.ID, c.Product, c.Lot, c.Expires, today.Sub(c.Expires), c.Left})
		}
	}
	slices.SortStableFunc(out, func(a, b OldContainer) int { return a.Expires.Compare(b.Expires) })
	return out
}

// unchecked lists the instruments in use whose last check is too long ago.
func (w *Workshop) unchecked(today loops.Day) ([]OldInstrument, error) {
	all, err := gather(w.register.Instruments())
	if err != nil {
		return nil, err
	}
	out := []OldInstrument{}
	for _, i := range all {
		old := OldInstrument{ID: i.ID, Name: i.Name, Kind: i.Kind}
		for _, c := range i.Checks {
			if c.Day.After(old.Checked) || old.Checked.IsZero() {
				old.Checked = c.Day
			}
		}
		if i.Retired.IsZero() && (old.Checked.IsZero() || today.Sub(old.Checked) > instrumentCheck) {
			out = append(out, old)
		}
	}
	// Never checked ones first: no day sorts before all others.
	slices.SortStableFunc(out, func(a, b OldInstrument) int {
		return cmp.Compare(a.Checked.String(), b.Checked.String())
	})
	return out, nil
}

// promised lists the machines in the workshop that were promised back.
func (w *Workshop) promised(today loops.Day) ([]Promised, error) {
	out := []Promised{}
	for machine, err := range w.register.Machines() {
		if err != nil {
			return nil, err
		}
		if machine.PromisedBack.IsZero() || machine.PromisedBack.After(today.AddDays(promisedAhead)) {
			continue
		}
		p := Promised{Machine: machine.Name, Day: machine.PromisedBack, OverdueDays: today.Sub(machine.PromisedBack)}
		all, err := w.register.LoopsOf(machine.ID)
		if err != nil {
			return nil, err
		}
		for _, l := range all {
			if l.State.HandedOver.IsZero() && l.State.Retired.IsZero() {
				p.Tags = append(p.Tags, l.Tag)
			}
		}
		if len(p.Tags) == 0 {
			continue // it went back
		}
		if machine.Owner != 0 {
			owner, err := w.register.Owner(machine.Owner)
			if err != nil {
				return nil, fmt.Errorf("owner %d: %w", machine.Owner, err)
			}
			p.Owner, p.Phone = owner.Name, owner.Phone
		}
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b Promised) int { return a.Day.Compare(b.Day) })
	return out, nil
}
