// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// Edit is records as a technician now wants them; nil where one stays. Each
// carries the revision that the technician read.
type Edit struct {
	Owner     *loops.Owner
	Machine   *loops.Machine
	Loop      *loops.Loop
	Container *loops.Container
}

// Edited is what an edit wrote, and where it changed what the charge of the
// loop is judged by, the verdict on that charge.
type Edited struct {
	Owner     loops.Owner
	Machine   loops.Machine
	Loop      loops.Loop
	Container loops.Container
	Judgement
}

// Judgement is what a record that was put right says about the charge in a
// loop. It warns; what is true is written whatever follows from it.
type Judgement struct {
	// Verdict is empty where nothing was changed that it hangs on.
	Verdict chemistry.Verdict  `json:"verdict,omitempty"`
	Reasons []chemistry.Reason `json:"reasons,omitempty"`
}

// Edit writes records in one change, or nothing. Where somebody wrote since
// they were read the error matches loops.ErrConflict. Owners of machines are
// changed by a transfer only; tag, machine and history of a loop stay, and what
// loops got from a container. A loop is planned again with its record, and with
// the kind of its machine.
func (w *Workshop) Edit(s Stamp, e Edit) (Edited, error) {
	b := editing{Workshop: w, stamp: s, change: loops.Change{At: s.At, By: s.By}}
	err := errors.Join(b.owner(e.Owner), b.machine(e.Machine), b.loop(e.Loop), b.container(e.Container))
	if err == nil {
		err = b.plan(e)
	}
	if err != nil {
		return Edited{}, err
	}
	b.change.Action = strings.Join(b.actions, "; ")
	if err := w.register.Commit(b.change); err != nil {
		return Edited{}, err
	}
	return b.read(e)
}

// editing is an edit on its way into one change.
type editing struct {
	*Workshop
	stamp   Stamp
	change  loops.Change
	actions []string
	// wasMachine and file are what is on record of the edited machine and loop,
	// file already as the edit leaves it.
	wasMachine loops.Machine
	file       File
	judge      bool
}

// compared notes for the audit what an edit changes, and returns the fields.
func compared[T any](b *editing, r acts.Record[T], was, is T) []acts.Field {
	changed := r.Changed(was, is)
	action := r.Name + " edit"
	if len(changed) > 0 {
		action += ": " + acts.Labels(changed)
	}
	b.actions = append(b.actions, action)
	return changed
}

func (b *editing) owner(o *loops.Owner) error {
	if o == nil {
		return nil
	}
	was, err := b.register.Owner(o.ID)
	if err != nil {
		return orNotFound("owner", o.ID, err)
	}
	if err := errors.Join(fresh("owner", o.ID, o.Revision, was.Revision), o.Validate()); err != nil {
		return err
	}
	if !was.MailStopped.IsZero() && o.MailStopped.IsZero() {
		return wrong("mail stopped", "none", "the day "+was.MailStopped.String()+": only the owner's own click lets mail run again")
	}
	is := *o
	is.LinkEpoch = was.LinkEpoch // only ended, never set
	if !strings.EqualFold(is.Email, was.Email) || is.Consent.Mail && !was.Consent.Mail {
		if err := b.bindStops([]loops.Owner{is}, func(_ int, day loops.Day) { is.MailStopped = day }); err != nil {
			return err
		}
	}
	compared(b, acts.Owners(), was, is)
	b.change.Owners = []loops.Owner{is}
	return nil
}

func (b *editing) machine(m *loops.Machine) error {
	if m == nil {
		return nil
	}
	was, err := b.register.Machine(m.ID)
	if err != nil {
		return orNotFound("machine", m.ID, err)
	}
	if err := fresh("machine", m.ID, m.Revision, was.Revision); err != nil {
		return err
	}
	if m.Owner != was.Owner {
		return wrong("owner", fmt.Sprint(m.Owner), "the present owner; a transfer moves a machine to another one")
	}
	if err := m.Validate(); err != nil {
		return err
	}
	compared(b, acts.Machines(), was, *m)
	b.wasMachine = was
	b.change.Machines = []loops.Machine{*m}
	return nil
}

func (b *editing) loop(l *loops.Loop) error {
	if l == nil {
		return nil
	}
	file, err := b.File(l.Tag)
	if err != nil {
		return err
	}
	if err := fresh("loop", l.Tag, l.Revision, file.Loop.Revision); err != nil {
		return err
	}
	was := file.Loop
	file.Loop.Name, file.Loop.Construction = l.Name, l.Construction
	file.Loop = acts.ByHand(was, file.Loop, loops.DayOf(b.stamp.At, b.zoneOf(file.Owner)))
	if err := file.Loop.Validate(); err != nil {
		return err
	}
	changed := compared(b, acts.Loops(), was, file.Loop)
	b.judge = slices.ContainsFunc(changed, func(f acts.Field) bool { return f.Judges })
	b.file = file
	return nil
}

func (b *editing) container(c *loops.Container) error {
	if c == nil {
		return nil
	}
	was, err := b.Container(c.ID)
	if err != nil {
		return err
	}
	is := *c
	is.Uses = was.Uses
	if err := errors.Join(fresh("container", c.ID, c.Revision, was.Revision), is.Validate()); err != nil {
		return err
	}
	compared(b, acts.Containers(), was, is)
	b.change.Shelf.Containers = []loops.Container{is}
	return nil
}

// plan plans again the loops that the edit touches: the edited one, and all in
// a machine whose kind changed.
func (b *editing) plan(e Edit) error {
	touched := map[loops.LoopID]File{}
	if e.Loop != nil {
		touched[b.file.Loop.ID] = b.file
	}
	if e.Machine != nil && e.Machine.Kind != b.wasMachine.Kind {
		inside, err := b.register.LoopsOf(e.Machine.ID)
		if err != nil {
			return err
		}
		for _, l := range inside {
			if _, edited := touched[l.ID]; edited {
				continue
			}
			if touched[l.ID], err = b.fileOf(l); err != nil {
				return err
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(touched)) {
		file := touched[id]
		if e.Machine != nil && e.Machine.ID == file.Machine.ID {
			file.Machine = *e.Machine
		}
		if _, err := b.replan(&b.change, file); err != nil {
			return err
		}
	}
	return nil
}

// read returns what was written.
func (b *editing) read(e Edit) (done Edited, err error) {
	if e.Owner != nil {
		done.Owner, err = b.register.Owner(e.Owner.ID)
	}
	if err == nil && e.Machine != nil {
		done.Machine, err = b.register.Machine(e.Machine.ID)
	}
	if err == nil && e.Container != nil {
		done.Container, err = b.Container(e.Container.ID)
	}
	if err == nil && e.Loop != nil {
		done.Loop, err = b.register.Loop(b.file.Loop.ID)
	}
	if err == nil && b.judge {
		b.file.Loop = done.Loop
		done.Judgement = b.file.Judged()
	}
	return done, err
}

// Judged is what the charge in a loop is judged to be, in the loop as it is
// built. An empty loop has no verdict.
func (f File) Judged() (j Judgement) {
	if f.Loop.State.Charge != nil {
		j.Reasons = acts.JudgeCharge(f.snapshot())
		j.Verdict = chemistry.Judge(j.Reasons)
	}
	return j
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
// own, its name is the kind of machine until they give it one,
// and the links of the former one end: what they open from then
// on was written to nobody who has them.
func (w *Workshop) transfer(s Stamp, file File, recorded Recorded) (Recorded, error) {
	e, machine := recorded.Entry, file.Machine
	former, err := w.register.Owner(e.Transfer.From)
	if err != nil {
		return Recorded{}, fmt.Errorf("owner %d: %w", e.Transfer.From, err)
	}
	buyer, err := w.register.Owner(e.Transfer.To)
	if err != nil {
		return Recorded{}, fmt.Errorf("owner %d: %w", e.Transfer.To, err)
	}
	machine = acts.Erasing().Machine(machine)
	machine.Owner = e.Transfer.To
	change := loops.Change{At: s.At, By: s.By, Action: string(e.Kind), Machines: []loops.Machine{machine}, Owners: []loops.Owner{former.LinksEnded()}}
	inside, err := w.register.LoopsOf(machine.ID)
	if err != nil {
		return Recorded{}, err
	}
	naming, parts := acts.Naming(acts.Owners().Words(former))
	names := loops.NewPhrases(slices.Concat(naming, parts))
	var passed []File
	for _, loop := range inside {
		of, err := w.fileOf(loop)
		if err != nil {
			return Recorded{}, err
		}
		of.Machine, of.Owner, of.Loop.Name = machine, buyer, names.Erase(loop.Name)
		entry := e
		entry.ID, entry.Loop = loop.LastEntry+1, loop.ID
		if loop.ID != file.Loop.ID {
			entry.Key = "" // one key, one entry
		}
		change.Entries = append(change.Entries, entry)
		of = of.with(entry)
		if of.Loop, err = w.replan(&change, of); err != nil {
			return Recorded{}, err
		}
		passed = append(passed, of)
	}
	if recorded.Mailed, err = w.welcome(s, passed, &change); err != nil {
		return Recorded{}, err
	}
	if err := w.register.Commit(change); err != nil {
		return Recorded{}, err
	}
	recorded.Warnings = append(recorded.Warnings, fmt.Sprintf(
		"What the former owner called it and handed in with it stays with them: it is “%s” now, until machine edit %d says more.", machine.Name, machine.ID))
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
