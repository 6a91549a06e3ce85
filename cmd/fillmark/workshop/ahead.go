// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"iter"
	"maps"
	"slices"

	"fillmark/loops"
)

// many is how a list reads what it needs of many records in a few questions.
type many interface {
	LoopsWith([]loops.LoopID) (map[loops.LoopID]loops.Loop, error)
	LoopsTagged([]loops.Tag) (map[loops.Tag]loops.Loop, error)
	LoopsInside([]loops.MachineID) (map[loops.MachineID][]loops.Loop, error)
	MachinesWith([]loops.MachineID) (map[loops.MachineID]loops.Machine, error)
	OwnersWith([]loops.OwnerID) (map[loops.OwnerID]loops.Owner, error)
	SuppressionsOf(addresses []string) (map[string]loops.Suppression, error)
	SentOf([]loops.Due) (map[loops.Due][]loops.Sent, error)
	MessageHeads([]loops.MessageKey) (map[loops.MessageKey]loops.Message, error)
	Histories([]loops.LoopID) (map[loops.LoopID][]loops.Entry, error)
}

// ahead is a register of which a list has read ahead what it will ask for, one
// record after the other; it is asked for the rest as ever.
type ahead struct {
	register
	loops      map[loops.LoopID]loops.Loop
	machines   map[loops.MachineID]loops.Machine
	owners     map[loops.OwnerID]loops.Owner
	addresses  map[string]bool // that were asked about
	suppressed map[string]loops.Suppression
	due        map[loops.Due]bool
	sent       map[loops.Due][]loops.Sent
	messages   map[loops.MessageKey]loops.Message
	histories  map[loops.LoopID][]loops.Entry
	uptime     *loops.Uptime
}

// known answers from what was read, or asks.
func known[K comparable, T any](read map[K]T, key K, ask func(K) (T, error)) (T, error) {
	if is, ok := read[key]; ok {
		return is, nil
	}
	return ask(key)
}

func (a *ahead) Loop(id loops.LoopID) (loops.Loop, error) { return known(a.loops, id, a.register.Loop) }

func (a *ahead) Machine(id loops.MachineID) (loops.Machine, error) {
	return known(a.machines, id, a.register.Machine)
}

func (a *ahead) Owner(id loops.OwnerID) (loops.Owner, error) {
	return known(a.owners, id, a.register.Owner)
}

func (a *ahead) MessageHead(key loops.MessageKey) (loops.Message, error) {
	return known(a.messages, key, a.register.MessageHead)
}

func (a *ahead) History(id loops.LoopID) ([]loops.Entry, error) {
	return known(a.histories, id, a.register.History)
}

func (a *ahead) Suppression(address string) (loops.Suppression, error) {
	if _, there := a.suppressed[address]; a.addresses[address] && !there {
		return loops.Suppression{}, fmt.Errorf("address %s: %w", address, loops.ErrNotFound)
	}
	return known(a.suppressed, address, a.register.Suppression)
}

func (a *ahead) Sent(loop loops.LoopID, task loops.TaskKind, day loops.Day) ([]loops.Sent, error) {
	if d := (loops.Due{Loop: loop, Task: task, Day: day}); a.due[d] {
		return a.sent[d], nil
	}
	return a.register.Sent(loop, task, day)
}

func (a *ahead) Uptime() (loops.Uptime, error) {
	if a.uptime != nil {
		return *a.uptime, nil
	}
	return a.register.Uptime()
}

// aheadOfLoops reads the machines of loops and their owners.
func (w *Workshop) aheadOfLoops(all []loops.Loop) (a *ahead, err error) {
	a = &ahead{register: w.register}
	machines, owners := map[loops.MachineID]bool{}, map[loops.OwnerID]bool{}
	for _, l := range all {
		machines[l.Machine] = true
	}
	if a.machines, err = w.register.MachinesWith(slices.Collect(maps.Keys(machines))); err != nil {
		return nil, err
	}
	for _, m := range a.machines {
		if m.Owner != 0 {
			owners[m.Owner] = true
		}
	}
	a.owners, err = w.register.OwnersWith(slices.Collect(maps.Keys(owners)))
	return a, err
}

// aheadOfDues reads what stands around tasks that are due, and their loops unless
// they were read.
func (w *Workshop) aheadOfDues(dues []loops.Due, all map[loops.LoopID]loops.Loop) (_ *ahead, err error) {
	ids := map[loops.LoopID]bool{}
	for _, d := range dues {
		ids[d.Loop] = true
	}
	if all == nil {
		if all, err = w.register.LoopsWith(slices.Collect(maps.Keys(ids))); err != nil {
			return nil, err
		}
	}
	a, err := w.aheadOfLoops(slices.Collect(maps.Values(all)))
	if err != nil {
		return nil, err
	}
	a.loops, a.addresses = all, map[string]bool{}
	for _, o := range a.owners {
		if o.Email != "" {
			a.addresses[o.Email] = true
		}
	}
	if a.suppressed, err = w.register.SuppressionsOf(slices.Collect(maps.Keys(a.addresses))); err != nil {
		return nil, err
	}
	return a, w.readLetters(a, dues)
}

// readLetters reads what was written about tasks.
func (w *Workshop) readLetters(a *ahead, dues []loops.Due) (err error) {
	a.due = map[loops.Due]bool{}
	for _, d := range dues {
		a.due[d] = true
	}
	if a.sent, err = w.register.SentOf(dues); err != nil {
		return err
	}
	var keys []loops.MessageKey
	for _, marks := range a.sent {
		for _, mark := range marks {
			keys = append(keys, mark.Message)
		}
	}
	if a.messages, err = w.register.MessageHeads(keys); err != nil {
		return err
	}
	up, err := w.register.Uptime()
	a.uptime = &up
	return err
}

// aheadOfHistories reads the machines and histories of loops.
func (w *Workshop) aheadOfHistories(all []loops.Loop) (*ahead, error) {
	a, err := w.aheadOfLoops(all)
	if err != nil {
		return nil, err
	}
	var ids []loops.LoopID
	for _, l := range all {
		ids = append(ids, l.ID)
	}
	a.histories, err = w.register.Histories(ids)
	return a, err
}

// Placed is a loop with its machine and owner.
type Placed struct {
	loops.Loop
	Machine loops.Machine
	Owner   loops.Owner // zero for nobody
}

// placed finds what loops are in and whose.
func (w *Workshop) placed(some []loops.Loop) ([]Placed, error) {
	ahead, err := w.aheadOfLoops(some)
	if err != nil {
		return nil, err
	}
	all := make([]Placed, len(some))
	for i, l := range some {
		is := &all[i]
		is.Loop = l
		if is.Machine, err = ahead.Machine(l.Machine); err != nil {
			return nil, err
		}
		if is.Machine.Owner == 0 {
			continue
		}
		if is.Owner, err = ahead.Owner(is.Machine.Owner); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// Placed yields loops with what they are in and whose, of which it reads some at a
// time.
func (w *Workshop) Placed(all iter.Seq2[loops.Loop, error]) iter.Seq2[Placed, error] {
	return func(yield func(Placed, error) bool) {
		together := 64 // a page of a list, and more where it goes on
		var some []loops.Loop
		hand := func() bool {
			placed, err := w.placed(some)
			if err != nil {
				yield(Placed{}, err)
				return false
			}
			for _, is := range placed {
				if !yield(is, nil) {
					return false
				}
			}
			some, together = nil, 256
			return true
		}
		for l, err := range all {
			if err != nil {
				yield(Placed{}, err)
				return
			}
			if some = append(some, l); len(some) == together && !hand() {
				return
			}
		}
		hand()
	}
}
