// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"errors"
	"iter"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

// lister is what lists are read from.
type lister interface {
	Owners() iter.Seq2[loops.Owner, error]
	Machines() iter.Seq2[loops.Machine, error]
	Loops() iter.Seq2[loops.Loop, error]
}

// LoopQuery chooses and orders loops. A zero field chooses all.
type LoopQuery struct {
	Owner   loops.OwnerID
	Machine loops.MachineID
	Fluid   chemistry.Fluid
	Metal   chemistry.Metal
	Lot     string    // of the charge, or of a container that went in
	Due     loops.Day // something is due on or before it
	Sealed  *bool
	Where   LoopPlace
	Sort    LoopOrder
}

// LoopPlace says where a loop stands.
type LoopPlace string

// The places of a loop.
const (
	InService  LoopPlace = "in service"
	InWorkshop LoopPlace = "in the workshop"
	HasFailed  LoopPlace = "failed"
	IsRetired  LoopPlace = "retired"
)

// LoopPlaces lists the places.
func LoopPlaces() []LoopPlace { return []LoopPlace{InService, InWorkshop, HasFailed, IsRetired} }

// PlaceOf tells where a loop stands.
func PlaceOf(s loops.State) LoopPlace {
	switch {
	case !s.Retired.IsZero():
		return IsRetired
	case !s.Failed.IsZero():
		return HasFailed
	case s.InService():
		return InService
	}
	return InWorkshop
}

// LoopOrder is what loops are sorted by; empty is by their numbers.
type LoopOrder string

// The orders of loops.
const (
	ByTag    LoopOrder = "tag"
	ByOwner  LoopOrder = "owner"
	ByDue    LoopOrder = "due"    // the next task first, loops without one last
	ByFilled LoopOrder = "filled" // the oldest charge first, loops without one last
	ByVolume LoopOrder = "volume"
)

// LoopOrders lists the orders.
func LoopOrders() []LoopOrder { return []LoopOrder{ByTag, ByOwner, ByDue, ByFilled, ByVolume} }

// LoopLine is a loop in a list, with what stands around it.
type LoopLine struct {
	loops.Loop
	Owner       loops.OwnerID     `json:"owner,omitempty"`
	OwnerName   string            `json:"owner_name,omitempty"`
	MachineName string            `json:"machine_name"`
	MachineKind loops.MachineKind `json:"machine_kind"`
	Place       LoopPlace         `json:"place"`
	// NextTask and NextDue are the earliest task; empty where none is planned.
	NextTask loops.TaskKind `json:"next_task,omitempty"`
	NextDue  loops.Day      `json:"next_due,omitzero"`
	// NextWhy is why it is due then.
	NextWhy string `json:"next_why,omitempty"`
	// Whose is the whole record of the owner, zero for nobody.
	Whose loops.Owner `json:"-"`
}

// FindLoops lists the loops that a query chooses. It reads one owner's loops
// by the index and everything else in one pass.
func (w *Workshop) FindLoops(q LoopQuery) ([]LoopLine, error) {
	poured, err := w.pouredFrom(q.Lot)
	if err != nil {
		return nil, err
	}
	var taken []loops.Loop
	for l, err := range w.candidates(q) {
		if err != nil {
			return nil, err
		}
		if q.takes(l, poured) {
			taken = append(taken, l)
		}
	}
	placed, err := w.placed(taken)
	if err != nil {
		return nil, err
	}
	lines := []LoopLine{}
	for _, is := range placed {
		line := lineOf(is)
		if q.Owner == 0 || line.Owner == q.Owner {
			lines = append(lines, line)
		}
	}
	q.Sort.sort(lines)
	return lines, nil
}

// candidates yields the loops a query can choose from, the fewest it can.
func (w *Workshop) candidates(q LoopQuery) iter.Seq2[loops.Loop, error] {
	switch {
	case q.Machine != 0:
		return these(w.register.LoopsOf(q.Machine))
	case q.Owner != 0:
		b, err := w.register.BelongingsOf(q.Owner, false)
		if errors.Is(err, loops.ErrNotFound) {
			err = nil // nobody has none
		}
		return these(b.Loops, err)
	}
	return w.register.Loops()
}

// these yields some loops, or the error with which they could not be read.
func these(all []loops.Loop, err error) iter.Seq2[loops.Loop, error] {
	return func(yield func(loops.Loop, error) bool) {
		if err != nil {
			yield(loops.Loop{}, err)
			return
		}
		for _, l := range all {
			if !yield(l, nil) {
				return
			}
		}
	}
}

// pouredFrom collects the loops that got something from containers of a lot.
func (w *Workshop) pouredFrom(lot string) (map[loops.LoopID]bool, error) {
	poured := map[loops.LoopID]bool{}
	if lot == "" {
		return poured, nil
	}
	for c, err := range w.register.Containers() {
		if err != nil {
			return nil, err
		}
		if strings.EqualFold(c.Lot, lot) {
			for _, use := range c.Uses {
				poured[use.Loop] = true
			}
		}
	}
	return poured, nil
}

func (q LoopQuery) takes(l loops.Loop, poured map[loops.LoopID]bool) bool {
	charge := l.State.Charge
	switch {
	case q.Fluid != "" && (charge == nil || charge.Fluid != q.Fluid),
		q.Metal != "" && !slices.Contains(l.Metals(), q.Metal),
		q.Lot != "" && !poured[l.ID] && (charge == nil || !strings.EqualFold(charge.Lot, q.Lot)),
		q.Sealed != nil && l.Sealed != *q.Sealed,
		q.Where != "" && PlaceOf(l.State) != q.Where:
		return false
	}
	if q.Due.IsZero() {
		return true
	}
	return slices.ContainsFunc(l.Dues(), func(d loops.Due) bool { return !d.Day.After(q.Due) })
}

func lineOf(is Placed) LoopLine {
	line := LoopLine{
		Loop: is.Loop, Owner: is.Machine.Owner, OwnerName: is.Owner.Name, Whose: is.Owner,
		MachineName: is.Machine.Name, MachineKind: is.Machine.Kind, Place: PlaceOf(is.State),
	}
	if tasks := NextTasks(is.Plan); len(tasks) > 0 {
		line.NextTask, line.NextDue, line.NextWhy = tasks[0].Kind, tasks[0].Due, schedule.Reason(tasks[0])
	}
	return line
}

func (o LoopOrder) sort(lines []LoopLine) {
	filled := func(l LoopLine) loops.Day {
		if l.State.Charge == nil {
			return loops.Day{}
		}
		return l.State.Charge.FilledTo
	}
	orders := map[LoopOrder]func(a, b LoopLine) int{
		ByTag:    func(a, b LoopLine) int { return cmp.Compare(a.Tag, b.Tag) },
		ByOwner:  func(a, b LoopLine) int { return compareNames(a.OwnerName, b.OwnerName) },
		ByDue:    func(a, b LoopLine) int { return compareDays(a.NextDue, b.NextDue) },
		ByFilled: func(a, b LoopLine) int { return compareDays(filled(a), filled(b)) },
		ByVolume: func(a, b LoopLine) int { return cmp.Compare(a.Volume, b.Volume) },
	}
	if order, ok := orders[o]; ok {
		slices.SortStableFunc(lines, order)
	}
}

// compareDays orders days, with no day behind all others.
func compareDays(a, b loops.Day) int {
	if a.IsZero() || b.IsZero() {
		return -a.Compare(b)
	}
	return a.Compare(b)
}

func compareNames(a, b string) int {
	return cmp.Compare(strings.ToLower(a), strings.ToLower(b))
}
