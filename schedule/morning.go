// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"cmp"
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

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
	return fmt.Sprintf("%s, %s (%s): %s, %s.", p.Machine, cmp.Or(p.Owner, "no owner"), cmp.Or(p.Phone, NoPhone), p.Day.Long(), DaysOver(p.OverdueDays))
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

// Expiring lists the containers whose content will be out of date within the
// month or is already, the oldest first; never nil.
func Expiring(shelf []loops.Container, today loops.Day) []OldContainer {
	out := []OldContainer{}
	for _, c := range shelf {
		if c.Left > 0 && !c.Expires.IsZero() && !c.Expires.After(today.AddDays(containerAhead)) {
			out = append(out, OldContainer{c.ID, c.Product, c.Lot, c.Expires, today.Sub(c.Expires), c.Left})
		}
	}
	slices.SortStableFunc(out, func(a, b OldContainer) int { return a.Expires.Compare(b.Expires) })
	return out
}

// Unchecked lists the instruments in use whose last check is too long ago, those
// never checked first; never nil.
func Unchecked(all []loops.Instrument, today loops.Day) []OldInstrument {
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
	// No day sorts before all others.
	slices.SortStableFunc(out, func(a, b OldInstrument) int {
		return cmp.Compare(a.Checked.String(), b.Checked.String())
	})
	return out
}

// PromiseOf is what was promised about a machine, with those of its loops that
// are still in the workshop; ok is false where nothing was, where the day is far
// off, and where the machine went back.
func PromiseOf(m loops.Machine, owner loops.Owner, all []loops.Loop, today loops.Day) (p Promised, ok bool) {
	if m.PromisedBack.IsZero() || m.PromisedBack.After(today.AddDays(promisedAhead)) {
		return p, false
	}
	p = Promised{Machine: m.Name, Owner: owner.Name, Phone: owner.Phone, Day: m.PromisedBack, OverdueDays: today.Sub(m.PromisedBack)}
	for _, l := range all {
		if l.State.HandedOver.IsZero() && l.State.Retired.IsZero() {
			p.Tags = append(p.Tags, l.Tag)
		}
	}
	return p, len(p.Tags) > 0
}
