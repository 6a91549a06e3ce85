// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// Registration is a machine that comes to the bench for the first time: who
// brought it, what it is, how its loop is built, and what was seen or done at
// once. An owner or a machine with an id is on record already.
type Registration struct {
	Owner   loops.Owner
	Machine loops.Machine
	Loop    loops.Loop
	// Acts are done to it in their order, on the day they name or today. They
	// take nothing from the shelf.
	Acts []acts.Act
	// Key was made once for this registration, so that sending it again records
	// it once; empty for none. The first entry keeps it.
	Key string
}

// Register records all of a registration in one change, or nothing: what is
// wrong with any part of it comes back joined. One that was sent before with its
// key gives the first answer again, see [Workshop.Registered].
func (w *Workshop) Register(s Stamp, r Registration) (loops.Loop, error) {
	all, err := w.registerAll(s, []Registration{r})
	if err != nil {
		return loops.Loop{}, err
	}
	return all[0], nil
}

// registerAll is [Workshop.Register] for several that stand or fall together.
func (w *Workshop) registerAll(s Stamp, all []Registration) ([]loops.Loop, error) {
	w.acting.Lock() // see retried
	defer w.acting.Unlock()
	if first, err := w.registered(all); err != nil || first != nil {
		return first, err
	}
	change := loops.Change{At: s.At, By: s.By, Action: "register"}
	var ready []registering
	last := map[string]lastUnit{}
	for _, r := range all {
		is, err := w.registering(s, r, last)
		if err != nil {
			return nil, err
		}
		ready = append(ready, is)
	}
	var files []File
	for _, is := range ready { // numbers once all is right
		file, err := w.numbered(is, &change)
		if err != nil {
			return nil, err
		}
		files = append(files, file)
	}
	if err := w.bindStops(change.Owners, func(i int, day loops.Day) { change.Owners[i].MailStopped = day }); err != nil {
		return nil, err
	}
	for {
		change.Loops = nil
		for _, file := range files {
			var err error
			if file.Loop.Tag, err = w.freeTag(); err != nil {
				return nil, err
			}
			if _, err = w.replan(&change, file); err != nil {
				return nil, err
			}
		}
		err := w.register.Commit(change)
		if errors.Is(err, loops.ErrTagTaken) {
			continue // somebody drew the same tag between the look and the commit
		}
		if err != nil {
			return nil, err
		}
		var made []loops.Loop
		for _, file := range files {
			loop, err := w.register.Loop(file.Loop.ID)
			if err != nil {
				return nil, err
			}
			made = append(made, loop)
		}
		return made, nil
	}
}

// registered are the loops of registrations that were sent together before; nil
// where none was. Some of them alone are another content of the same key.
func (w *Workshop) registered(all []Registration) ([]loops.Loop, error) {
	var found []loops.Loop
	for _, r := range all {
		loop, err := w.Registered(r)
		if err != nil {
			return nil, err
		}
		if loop.ID != 0 {
			found = append(found, loop)
		}
	}
	if len(found) != 0 && len(found) != len(all) {
		return nil, fmt.Errorf("the key %q belongs to a sheet with another number of units: %w", all[0].Key, loops.ErrRepeated)
	}
	return found, nil
}

// registering is a registration that can be put on record: its loop as the first
// acts left it, and what they write.
type registering struct {
	Registration
	loop loops.Loop
	own  loops.Change
}

func (w *Workshop) registering(s Stamp, r Registration, last map[string]lastUnit) (registering, error) {
	r.Acts = r.keyed()
	r, err := w.known(r)
	if err != nil {
		return registering{}, err
	}
	if err := r.validate(); err != nil {
		return registering{}, err
	}
	if r, err = w.asTheLast(r, last); err != nil {
		return registering{}, err
	}
	is := registering{Registration: r}
	is.loop, err = w.begin(s, r, &is.own)
	return is, err
}

// Registered finds the loop of a registration that was sent before with its key;
// the zero loop where none was. The same key with another content is an error
// that matches loops.ErrRepeated and names the field.
func (w *Workshop) Registered(r Registration) (loops.Loop, error) {
	if r.Key == "" {
		return loops.Loop{}, nil
	}
	e, err := w.register.EntryByKey(r.Key)
	if errors.Is(err, loops.ErrNotFound) {
		return loops.Loop{}, nil
	}
	if err != nil {
		return loops.Loop{}, err
	}
	loop, err := w.register.Loop(e.Loop)
	if err != nil {
		return loop, err
	}
	file, err := w.fileOf(loop)
	if err != nil {
		return loop, err
	}
	if field := r.differs(file); field != "" {
		return loops.Loop{}, &RepeatedError{Key: r.Key, Field: field}
	}
	if _, err := w.sentBefore(file, e, r.Key, r.keyed()); err != nil {
		return loops.Loop{}, err
	}
	return loop, nil
}

// differs names the first field in which a registration says something else of
// owner, machine and loop than what is on record with its key; empty where both
// say the same.
func (r Registration) differs(file File) string {
	if file.Loop.BuiltKnown.How == loops.Assumed && r.Loop.BuiltKnown.How == loops.NotKnown {
		r = r.like(file.Machine, file.Loop.Construction)
	}
	changed := acts.Loops().Changed(file.Loop, r.Loop)
	if r.Machine.ID == 0 {
		changed = append(acts.Machines().Changed(file.Machine, r.Machine), changed...)
		if r.Owner.ID == 0 && r.Machine.Kind != loops.DonorUnit {
			changed = append(acts.Owners().Changed(file.Owner, r.Owner), changed...)
		}
	}
	for _, f := range changed {
		if f.Name != "owner" && f.Name != "machine" { // the numbers that the register gave
			return f.Name
		}
	}
	return ""
}

// keyed are the acts with the key on the first; where nothing was done yet, that
// the machine came in.
func (r Registration) keyed() []acts.Act {
	if r.Key == "" {
		return r.Acts
	}
	all := r.Acts
	if len(all) == 0 {
		all = []acts.Act{&acts.Intake{}}
	}
	acts.SetKey(all[0], r.Key)
	return all
}

// known reads the owner and the machine that are on record already.
func (w *Workshop) known(r Registration) (Registration, error) {
	var err error
	if r.Machine.ID != 0 {
		id := r.Machine.ID
		if r.Machine, err = w.register.Machine(id); err != nil {
			return r, orNotFound("machine", id, err)
		}
		r.Owner = loops.Owner{ID: r.Machine.Owner}
	}
	if r.Owner.ID != 0 {
		id := r.Owner.ID
		if r.Owner, err = w.register.Owner(id); err != nil {
			return r, orNotFound("owner", id, err)
		}
	}
	return r, nil
}

func (r Registration) validate() error {
	var all []error
	if r.Owner.ID == 0 && r.Machine.Kind != loops.DonorUnit {
		all = append(all, r.Owner.Validate())
		r.Machine.Owner = 1 // it gets its number once all is right
	}
	if r.Owner.ID != 0 {
		r.Machine.Owner = r.Owner.ID
	}
	return errors.Join(append(all, r.Machine.Validate(), r.Loop.Validate())...)
}

// numbered gives the new records their numbers and adds them to the change, all
// but the loop, which has no tag yet.
func (w *Workshop) numbered(r registering, change *loops.Change) (File, error) {
	var err error
	change.Owners = append(change.Owners, r.own.Owners...)
	if r.Owner.ID == 0 && r.Machine.Kind != loops.DonorUnit {
		if r.Owner.ID, err = w.register.NewOwnerID(); err != nil {
			return File{}, err
		}
		r.Owner.Revision = 0
		change.Owners = []loops.Owner{r.Owner}
	}
	if r.Machine.ID == 0 {
		r.Machine.Owner = r.Owner.ID
		if r.Machine.ID, err = w.register.NewMachineID(); err != nil {
			return File{}, err
		}
		r.Machine.Revision = 0
		change.Machines = append(change.Machines, r.Machine)
	}
	if r.loop.ID, err = w.register.NewLoopID(); err != nil {
		return File{}, err
	}
	r.loop.Machine = r.Machine.ID
	for i := range r.own.Entries {
		r.own.Entries[i].Loop = r.loop.ID
	}
	change.Entries = append(change.Entries, r.own.Entries...)
	change.Shelf.UsedFluid = append(change.Shelf.UsedFluid, r.own.Shelf.UsedFluid...)
	return File{Loop: r.loop, Machine: r.Machine, Owner: r.Owner, History: r.own.Entries}, nil
}

// ActError is what is wrong with one of several acts.
type ActError struct {
	Kind loops.EntryKind
	Err  error
}

// Error is the act and what is wrong with it.
func (e *ActError) Error() string { return string(e.Kind) + ": " + e.Err.Error() }

// Unwrap is what is wrong with it.
func (e *ActError) Unwrap() error { return e.Err }

// begin does the first acts to the new loop.
func (w *Workshop) begin(s Stamp, r Registration, change *loops.Change) (loops.Loop, error) {
	file := File{Loop: r.Loop, Machine: r.Machine, Owner: r.Owner}
	file.Loop.Revision, file.Loop.LastEntry, file.Loop.State, file.Loop.Plan = 0, 0, loops.State{}, loops.Plan{}
	for _, a := range r.Acts {
		var err error
		if file, err = w.apply(s, file, a, change, &Recorded{}); err != nil {
			return file.Loop, &ActError{Kind: acts.KindOf(a), Err: err}
		}
	}
	return file.Loop, nil
}
