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
	if err := o.Validate(); err != nil {
		return loops.Owner{}, err
	}
	id, err := w.register.NewOwnerID()
	if err != nil {
		return loops.Owner{}, err
	}
	o.ID, o.Revision, o.LinkEpoch = id, 0, 0
	if err := w.bindStops([]loops.Owner{o}, func(_ int, day loops.Day) { o.MailStopped = day }); err != nil {
		return loops.Owner{}, err
	}
	err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "owner add", Owners: []loops.Owner{o}})
	if err != nil {
		return loops.Owner{}, err
	}
	return w.register.Owner(id)
}

// AddMachine records a new machine of an owner, or a donor unit.
func (w *Workshop) AddMachine(s Stamp, m loops.Machine) (loops.Machine, error) {
	if err := m.Validate(); err != nil {
		return loops.Machine{}, err
	}
	if m.Owner != 0 {
		if _, err := w.register.Owner(m.Owner); err != nil {
			return loops.Machine{}, fmt.Errorf("owner %d: %w", m.Owner, err)
		}
	}
	id, err := w.register.NewMachineID()
	if err != nil {
		return loops.Machine{}, err
	}
	m.ID, m.Revision = id, 0
	err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "machine add", Machines: []loops.Machine{m}})
	if err != nil {
		return loops.Machine{}, err
	}
	return w.register.Machine(id)
}

// AddLoop records a new loop of a machine under a fresh tag.
func (w *Workshop) AddLoop(s Stamp, l loops.Loop) (loops.Loop, error) {
	if _, err := w.register.Machine(l.Machine); err != nil {
		return loops.Loop{}, fmt.Errorf("machine %d: %w", l.Machine, err)
	}
	l = acts.ByHand(loops.Loop{}, l, loops.DayOf(s.At, w.settings.Zone))
	if err := l.Validate(); err != nil {
		return loops.Loop{}, err
	}
	id, err := w.register.NewLoopID()
	if err != nil {
		return loops.Loop{}, err
	}
	l.ID, l.Revision, l.LastEntry, l.State, l.Plan = id, 0, 0, loops.State{}, loops.Plan{}
	for {
		if l.Tag, err = w.freeTag(); err != nil {
			return loops.Loop{}, err
		}
		err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "loop add", Loops: []loops.Loop{l}})
		if errors.Is(err, loops.ErrTagTaken) {
			continue // somebody drew the same tag between the look and the commit
		}
		if err != nil {
			return loops.Loop{}, err
		}
		return w.register.Loop(id)
	}
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
