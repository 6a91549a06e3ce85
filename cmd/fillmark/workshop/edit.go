// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"

	"fillmark/loops"
)

// EditOwner writes an owner as a technician now wants it. The revision is the
// one that the technician read: where somebody wrote in between the error
// matches loops.ErrConflict and nothing changes.
func (w *Workshop) EditOwner(s Stamp, o loops.Owner) (loops.Owner, error) {
	was, err := w.register.Owner(o.ID)
	if err != nil {
		return loops.Owner{}, fmt.Errorf("owner %d: %w", o.ID, err)
	}
	if err := fresh("owner", uint64(o.ID), o.Revision, was.Revision); err != nil {
		return loops.Owner{}, err
	}
	if err := o.Validate(); err != nil {
		return loops.Owner{}, err
	}
	if !was.MailStopped.IsZero() && o.MailStopped.IsZero() {
		return loops.Owner{}, wrong("mail stopped", "none", "the day "+was.MailStopped.String()+": only the owner's own click lets mail run again")
	}
	change := loops.Change{At: s.At, By: s.By, Action: "owner edit", Owners: []loops.Owner{o}}
	if err := w.register.Commit(change); err != nil {
		return loops.Owner{}, err
	}
	return w.register.Owner(o.ID)
}

// EditMachine writes a machine as [Workshop.EditOwner] writes an owner. Its
// loops are planned anew, since the kind of machine decides intervals. The
// owner is changed by a transfer only.
func (w *Workshop) EditMachine(s Stamp, m loops.Machine) (loops.Machine, error) {
	was, err := w.register.Machine(m.ID)
	if err != nil {
		return loops.Machine{}, fmt.Errorf("machine %d: %w", m.ID, err)
	}
	if err := fresh("machine", uint64(m.ID), m.Revision, was.Revision); err != nil {
		return loops.Machine{}, err
	}
	if m.Owner != was.Owner {
		return loops.Machine{}, wrong("owner", fmt.Sprint(m.Owner), "the present owner; a transfer moves a machine to another one")
	}
	if err := m.Validate(); err != nil {
		return loops.Machine{}, err
	}
	change := loops.Change{At: s.At, By: s.By, Action: "machine edit", Machines: []loops.Machine{m}}
	if m.Kind != was.Kind {
		if err := w.replanOthers(&change, File{Machine: m}); err != nil {
			return loops.Machine{}, err
		}
	}
	if err := w.register.Commit(change); err != nil {
		return loops.Machine{}, err
	}
	return w.register.Machine(m.ID)
}

// EditLoop writes a loop's name and construction as [Workshop.EditOwner]
// writes an owner, and plans it anew. Tag, machine and history stay.
func (w *Workshop) EditLoop(s Stamp, l loops.Loop) (loops.Loop, error) {
	file, err := w.File(l.Tag)
	if err != nil {
		return loops.Loop{}, err
	}
	if err := fresh("loop", string(l.Tag), l.Revision, file.Loop.Revision); err != nil {
		return loops.Loop{}, err
	}
	file.Loop.Name, file.Loop.Construction = l.Name, l.Construction
	if err := file.Loop.Validate(); err != nil {
		return loops.Loop{}, err
	}
	change := loops.Change{At: s.At, By: s.By, Action: "loop edit"}
	if _, err := w.replan(&change, file); err != nil {
		return loops.Loop{}, err
	}
	if err := w.register.Commit(change); err != nil {
		return loops.Loop{}, err
	}
	return w.register.Loop(file.Loop.ID)
}

// EditBuilt writes a machine and one of its loops as [Workshop.EditMachine] and
// [Workshop.EditLoop] do, in one change, or nothing.
func (w *Workshop) EditBuilt(s Stamp, m loops.Machine, l loops.Loop) error {
	file, err := w.File(l.Tag)
	if err != nil {
		return err
	}
	if err := errors.Join(fresh("machine", uint64(m.ID), m.Revision, file.Machine.Revision), fresh("loop", string(l.Tag), l.Revision, file.Loop.Revision)); err != nil {
		return err
	}
	if m.Owner != file.Machine.Owner {
		return wrong("owner", fmt.Sprint(m.Owner), "the present owner; a transfer moves a machine to another one")
	}
	kind := file.Machine.Kind
	file.Machine, file.Loop.Name, file.Loop.Construction = m, l.Name, l.Construction
	if err := errors.Join(m.Validate(), file.Loop.Validate()); err != nil {
		return err
	}
	change := loops.Change{At: s.At, By: s.By, Action: "machine and loop edit", Machines: []loops.Machine{m}}
	if _, err := w.replan(&change, file); err != nil {
		return err
	}
	if m.Kind != kind {
		if err := w.replanOthers(&change, file); err != nil {
			return err
		}
	}
	return w.register.Commit(change)
}

// replanOthers plans the machine's other loops, whose intervals hang on its
// kind.
func (w *Workshop) replanOthers(change *loops.Change, file File) error {
	inside, err := w.register.LoopsOf(file.Machine.ID)
	if err != nil {
		return err
	}
	for _, l := range inside {
		if l.ID == file.Loop.ID {
			continue
		}
		if err := l.Validate(); err != nil {
			return fmt.Errorf("loop %s: %w", l.Tag, err)
		}
		of, err := w.fileOf(l)
		if err != nil {
			return err
		}
		of.Machine = file.Machine
		if _, err := w.replan(change, of); err != nil {
			return err
		}
	}
	return nil
}

// CopyLoop records a loop built like the one with the tag in a machine, under
// a tag of its own and with an empty history. An empty name keeps the name.
func (w *Workshop) CopyLoop(s Stamp, tag loops.Tag, machine loops.MachineID, name string) (loops.Loop, error) {
	like, err := w.register.LoopByTag(tag)
	if err != nil {
		return loops.Loop{}, fmt.Errorf("loop %s: %w", tag, err)
	}
	if name == "" {
		name = like.Name
	}
	return w.AddLoop(s, loops.Loop{Machine: machine, Name: name, Construction: like.Construction})
}

// fresh refuses to write over what the writer did not read.
func fresh[ID any](what string, id ID, read, now uint64) error {
	if read != now {
		return fmt.Errorf("%s %v: read at revision %d, now %d: %w", what, id, read, now, loops.ErrConflict)
	}
	return nil
}

// transfer moves the machine of a loop to its new owner and records it in the
// history of every loop in the machine, in one change. Consents are the new
// owner's own.
func (w *Workshop) transfer(s Stamp, file File, recorded Recorded) (Recorded, error) {
	e, machine := recorded.Entry, file.Machine
	if _, err := w.register.Owner(e.Transfer.To); err != nil {
		return Recorded{}, fmt.Errorf("owner %d: %w", e.Transfer.To, err)
	}
	machine.Owner = e.Transfer.To
	change := loops.Change{At: s.At, By: s.By, Action: string(e.Kind), Machines: []loops.Machine{machine}}
	inside, err := w.register.LoopsOf(machine.ID)
	if err != nil {
		return Recorded{}, err
	}
	for _, loop := range inside {
		of, err := w.fileOf(loop)
		if err != nil {
			return Recorded{}, err
		}
		of.Machine = machine
		entry := e
		entry.ID, entry.Loop = loop.LastEntry+1, loop.ID
		if loop.ID != file.Loop.ID {
			entry.Key = "" // one key, one entry
		}
		change.Entries = append(change.Entries, entry)
		if _, err := w.replan(&change, of.with(entry)); err != nil {
			return Recorded{}, err
		}
	}
	if err := w.register.Commit(change); err != nil {
		return Recorded{}, err
	}
	recorded.Loop, err = w.register.Loop(file.Loop.ID)
	return recorded, err
}

// commitNew gives a new record its id and writes it.
func commitNew[ID any](newID func() (ID, error), commit func(ID) error) (ID, error) {
	id, err := newID()
	if err == nil {
		err = commit(id)
	}
	return id, err
}

// orNotFound turns "not on record" into words that say of what.
func orNotFound[ID any](what string, id ID, err error) error {
	if errors.Is(err, loops.ErrNotFound) {
		return fmt.Errorf("%s %v: %w", what, id, loops.ErrNotFound)
	}
	return err
}
