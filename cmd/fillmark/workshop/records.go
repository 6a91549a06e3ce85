// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// AddOwner records a new owner.
func (w *Workshop) AddOwner(s Stamp, o loops.Owner) (loops.Owner, error) {
	if err := acts.Owners().Named(o.Validate()); err != nil {
		return loops.Owner{}, err
	}
	o.Revision, o.LinkEpoch = 0, 0
	change := loops.Change{At: s.At, By: s.By, Action: "owner add", Owners: []loops.Owner{o}}
	if err := w.put(&change); err != nil {
		return loops.Owner{}, err
	}
	return w.register.Owner(change.Owners[0].ID)
}

// AddMachine records a new machine of an owner, or a donor unit.
func (w *Workshop) AddMachine(s Stamp, m loops.Machine) (loops.Machine, error) {
	if err := acts.Machines().Named(m.Validate()); err != nil {
		return loops.Machine{}, err
	}
	if m.Owner != 0 {
		if _, err := w.register.Owner(m.Owner); err != nil {
			return loops.Machine{}, fmt.Errorf("owner %d: %w", m.Owner, err)
		}
	}
	m.Revision = 0
	change := loops.Change{At: s.At, By: s.By, Action: "machine add", Machines: []loops.Machine{m}}
	if err := w.put(&change); err != nil {
		return loops.Machine{}, err
	}
	return w.register.Machine(change.Machines[0].ID)
}

// AddLoop records a new loop of a machine under a fresh tag.
func (w *Workshop) AddLoop(s Stamp, l loops.Loop) (loops.Loop, error) {
	if _, err := w.register.Machine(l.Machine); err != nil {
		return loops.Loop{}, fmt.Errorf("machine %d: %w", l.Machine, err)
	}
	l = acts.ByHand(loops.Loop{}, l, loops.DayOf(s.At, w.settings.Zone))
	if err := acts.Loops().Named(l.Validate()); err != nil {
		return loops.Loop{}, err
	}
	l.Revision, l.LastEntry, l.State, l.Plan = 0, 0, loops.State{}, loops.Plan{}
	change := loops.Change{At: s.At, By: s.By, Action: "loop add", Loops: []loops.Loop{l}}
	if err := w.put(&change); err != nil {
		return loops.Loop{}, err
	}
	return w.register.Loop(change.Loops[0].ID)
}

// put writes new records. It gives them their numbers and the loops their tags,
// and binds owners to the day on which a reader of their address stopped the
// mail.
func (w *Workshop) put(change *loops.Change) error {
	err := errors.Join(
		w.bindStops(change.Owners, func(i int, day loops.Day) { change.Owners[i].MailStopped = day }),
		numbered(change.Owners, w.register.NewOwnerIDs, func(o *loops.Owner, id loops.OwnerID) { o.ID = id }),
		numbered(change.Machines, w.register.NewMachineIDs, func(m *loops.Machine, id loops.MachineID) { m.ID = id }),
		numbered(change.Loops, w.register.NewLoopIDs, func(l *loops.Loop, id loops.LoopID) { l.ID = id }),
		numbered(change.Shelf.Containers, w.register.NewContainerIDs, func(c *loops.Container, id loops.ContainerID) { c.ID = id }),
	)
	if err != nil {
		return err
	}
	for {
		given := map[loops.Tag]bool{}
		for i := range change.Loops {
			l := &change.Loops[i]
			for l.Tag = ""; l.Tag == "" || given[l.Tag]; {
				if l.Tag, err = w.freeTag(); err != nil {
					return err
				}
			}
			given[l.Tag] = true
		}
		if err := w.register.Commit(*change); !errors.Is(err, loops.ErrTagTaken) {
			return err
		} // somebody drew the same tag between the look and the commit
	}
}

// numbered takes as many ids as there are records, in one go, since each going
// to the disk takes milliseconds.
func numbered[T any, ID ~uint64](records []T, newIDs func(int) (ID, error), set func(*T, ID)) error {
	if len(records) == 0 {
		return nil
	}
	first, err := newIDs(len(records))
	if err != nil {
		return err
	}
	for i := range records {
		set(&records[i], first+ID(i))
	}
	return nil
}

// freeTag draws tags until one is not on record.
func (w *Workshop) freeTag() (loops.Tag, error) {
	for {
		tag, err := loops.NewTag(w.random)
		if err != nil {
			return "", err
		}
		_, err = w.register.LoopByTag(tag)
		if errors.Is(err, loops.ErrNotFound) {
			return tag, nil
		}
		if err != nil {
			return "", err
		}
	}
}
