// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// conflictRetries is how often an action that nobody typed a revision into
// reads again after somebody else wrote in between.
const conflictRetries = 5

// Recorded is what [Workshop.Act] wrote, and what was known about it.
type Recorded struct {
	// Entry is the last one.
	Entry loops.Entry `json:"entry"`
	Loop  loops.Loop  `json:"loop"`
	// Verdict and Reasons are of all that was done; a go may have notes.
	Verdict chemistry.Verdict  `json:"verdict"`
	Reasons []chemistry.Reason `json:"reasons"`
	// Mailed is the subject of the mail that the act caused; empty if none.
	Mailed string `json:"mailed,omitempty"`
	// Warnings say what to mind about what was recorded.
	Warnings []string `json:"warnings,omitempty"`
	// Repeated tells that the act was on record already, sent before with the
	// same key.
	Repeated bool `json:"repeated,omitempty"`
}

// Act does what the acts say to the loop with the tag: each is judged by what
// those before it left, and all of it is one change, or nothing. A transfer
// moves the machine, so it is recorded for every loop in it, and by itself.
//
// A stop that has not happened yet is an [*acts.StopError]. An act that was
// sent before with its key gives the first answer again; a key that stands for
// something else, or the same act twice within ten minutes without one, is an
// error that matches loops.ErrRepeated.
func (w *Workshop) Act(s Stamp, tag loops.Tag, all ...acts.Act) (Recorded, error) {
	recorded, err := retried(w, func() (Recorded, error) { return w.actOnce(s, tag, all, true) })
	if err == nil && !recorded.Repeated && slices.ContainsFunc(all, teaches) {
		if _, learnt := w.Learn(context.Background(), s); learnt != nil {
			recorded.Warnings = append(recorded.Warnings, "It is on record; what it teaches is worked out in the daily pass: "+learnt.Error())
		}
	}
	return recorded, err
}

// Check judges acts as [Workshop.Act] does and writes nothing.
func (w *Workshop) Check(s Stamp, tag loops.Tag, all ...acts.Act) (Recorded, error) {
	return w.actOnce(s, tag, all, false)
}

// teaches tells whether an act changes what openings say at once. To work that
// out reads the whole register, so what a measurement adds, one more life under
// watch, waits for the pass of the day.
func teaches(a acts.Act) bool {
	kind := acts.KindOf(a)
	return kind == loops.KindOpening || kind == loops.KindCorrection
}

// retried runs an action that reads what it writes, for callers who typed no
// revision. Such actions take turns: one process holds the register, so
// waiting costs less than reading again, and nobody starves. What still writes
// in between, an edit with a revision, makes it read again.
func retried[T any](w *Workshop, once func() (T, error)) (T, error) {
	w.acting.Lock()
	defer w.acting.Unlock()
	for attempt := 0; ; attempt++ {
		done, err := once()
		if errors.Is(err, loops.ErrConflict) && attempt < conflictRetries {
			continue
		}
		return done, err
	}
}

func (w *Workshop) actOnce(s Stamp, tag loops.Tag, all []acts.Act, write bool) (Recorded, error) {
	file, err := w.File(tag)
	if err != nil {
		return Recorded{}, err
	}
	if len(all) == 0 {
		return Recorded{}, wrong("acts", "none", "at least one act")
	}
	if first, err := w.again(s, file, all[0]); err != nil || first.Repeated {
		return first, err
	}
	recorded := Recorded{Verdict: chemistry.Go, Reasons: []chemistry.Reason{}}
	change := loops.Change{At: s.At, By: s.By, Action: actionOf(all)}
	was := file.History
	for _, a := range all {
		if kind := acts.KindOf(a); kind == loops.KindTransfer && len(all) > 1 {
			return Recorded{}, wrong("kind", string(kind), "an act by itself")
		}
		if file, err = w.apply(s, file, a, &change, &recorded); err != nil {
			return Recorded{}, err
		}
	}
	recorded.Entry, recorded.Loop = change.Entries[len(change.Entries)-1], file.Loop
	if change.Shelf.Containers, recorded.Warnings, err = w.poured(file.Loop.ID, was, file.History); err != nil {
		return Recorded{}, err
	}
	switch {
	case !write:
		return recorded, nil
	case recorded.Entry.Kind == loops.KindTransfer:
		return w.transfer(s, file, recorded)
	}
	if file.Loop, err = w.replan(&change, file, change.Shelf.Containers...); err != nil {
		return Recorded{}, err
	}
	for _, e := range change.Entries {
		if e.Kind == loops.KindHandover || e.Kind == loops.KindReturn {
			if recorded.Mailed, err = w.handOver(s, file, e, &change); err != nil {
				return Recorded{}, err
			}
		}
	}
	if err := w.register.Commit(change); err != nil {
		return Recorded{}, err
	}
	recorded.Loop, err = w.register.Loop(file.Loop.ID)
	return recorded, err
}

// apply judges one act and adds it to the change; it returns the file as the
// act leaves it.
func (w *Workshop) apply(s Stamp, file File, a acts.Act, change *loops.Change, recorded *Recorded) (File, error) {
	d := acts.Of(a)
	snapshot, err := w.snapshotFor(file, a)
	if err != nil {
		return file, err
	}
	today := loops.DayOf(s.At, w.zoneOf(file.Owner))
	if err := a.Check(snapshot, today); err != nil {
		return file, d.Named(err)
	}
	done := a.Apply(snapshot, today)
	for _, e := range done.Entries { // what cannot be is said before what must not
		if _, err := w.checked(s, file, e); err != nil {
			return file, d.Named(err)
		}
	}
	judged, reasons, err := acts.Settle(d, a, snapshot, today, s.By)
	if err != nil {
		return file, err
	}
	recorded.Verdict, recorded.Reasons = recorded.Verdict.Max(judged.Verdict), append(recorded.Reasons, reasons...)
	change.Owners = append(change.Owners, done.Owners...)
	for _, o := range done.Owners {
		file.Owner = o
	}
	for _, l := range done.Loops {
		file.Loop.Construction = l.Construction
	}
	for _, e := range done.Entries {
		e.Judged = judged
		if e, err = w.checked(s, file, e); err != nil {
			return file, d.Named(err)
		}
		used, err := w.usedBy(s, file, e)
		if err != nil {
			return file, d.Named(err)
		}
		change.Shelf.UsedFluid = append(change.Shelf.UsedFluid, used...)
		change.Entries = append(change.Entries, e)
		file = file.with(e)
	}
	return file, nil
}

// snapshot is what the file says to an act that draws nothing from the shelf.
func (f File) snapshot() acts.Snapshot {
	return acts.Snapshot{Loop: f.Loop, Machine: f.Machine, Owner: f.Owner, History: f.History}
}

// snapshotFor is the file with the containers that the act draws from, and with
// the other loops of the machine where it lets that go.
func (w *Workshop) snapshotFor(file File, a acts.Act) (acts.Snapshot, error) {
	s := file.snapshot()
	if kind := acts.KindOf(a); kind == loops.KindHandover || kind == loops.KindReturn {
		inside, err := w.register.LoopsOf(file.Machine.ID)
		if err != nil {
			return s, err
		}
		s.Beside = slices.DeleteFunc(inside, func(l loops.Loop) bool { return l.ID == file.Loop.ID })
	}
	for _, id := range a.Containers() {
		c, err := w.Container(id)
		if err != nil {
			return s, err
		}
		s.Containers = append(s.Containers, c)
	}
	return s, nil
}

// againWithin is how soon an act that says the same as one on record, without a
// key, is asked about instead of recorded: a pressed Back, a command repeated.
const againWithin = 10 // minutes

// again finds an act that was sent before. The first answer comes back for the
// same key; the same key with another content, and the same content without a
// key, are refused.
func (w *Workshop) again(s Stamp, file File, a acts.Act) (Recorded, error) {
	d := acts.Of(a)
	snapshot, err := w.snapshotFor(file, a)
	if err != nil {
		return Recorded{}, err
	}
	key := acts.KeyOf(a)
	if key == "" {
		if err := a.Check(snapshot, loops.DayOf(s.At, w.zoneOf(file.Owner))); err != nil {
			return Recorded{}, d.Named(err) // what cannot be was not done twice
		}
		for _, e := range slices.Backward(file.History) {
			if s.At.Sub(e.Recorded).Minutes() >= againWithin {
				break
			}
			if e.Kind == d.Kind && acts.Differs(d, a, e, snapshot) == "" {
				return Recorded{}, fmt.Errorf("the same %s is on record as entry %d, written %s; if it was done twice, send it with a key of its own (--key): %w",
					d.Name, e.ID, e.Recorded.UTC().Format("15:04:05 UTC"), loops.ErrRepeated)
			}
		}
		return Recorded{}, nil
	}
	e, err := w.register.EntryByKey(key)
	switch {
	case errors.Is(err, loops.ErrNotFound):
		return Recorded{}, nil
	case err != nil:
		return Recorded{}, err
	case e.Loop != file.Loop.ID || e.Kind != d.Kind:
		return Recorded{}, fmt.Errorf("the key %q belongs to another act, %s of another loop or kind: %w", key, e.Kind, loops.ErrRepeated)
	}
	if field := acts.Differs(d, a, e, snapshot); field != "" {
		return Recorded{}, fmt.Errorf("the key %q belongs to an act that says something else in the field %s: %w", key, field, loops.ErrRepeated)
	}
	first := Recorded{Entry: e, Loop: file.Loop, Verdict: chemistry.Go, Reasons: []chemistry.Reason{}, Repeated: true}
	if e.Judged != nil {
		first.Verdict = e.Judged.Verdict
		for _, r := range e.Judged.Reasons {
			first.Reasons = append(first.Reasons, chemistry.Reason{Rule: r.Rule, Verdict: r.Verdict, Text: r.Text})
		}
	}
	return first, nil
}

// actionOf names what was done for the audit: each kind once.
func actionOf(all []acts.Act) string {
	var kinds []string
	for _, a := range all {
		if kind := string(acts.KindOf(a)); !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	return strings.Join(kinds, ", ")
}

// with is the file after one more entry, folded; its plan is the old one.
func (f File) with(e loops.Entry) File {
	f.History = append(slices.Clone(f.History), e)
	f.Loop.LastEntry, f.Loop.State = e.ID, loops.Fold(f.History)
	return f
}

// checked returns the entry with its number as it is recorded, or what is wrong
// with it.
func (w *Workshop) checked(s Stamp, file File, e loops.Entry) (loops.Entry, error) {
	e.ID, e.Loop, e.Recorded, e.By = file.Loop.LastEntry+1, file.Loop.ID, s.At, s.By
	if err := e.Validate(); err != nil {
		return e, err
	}
	today := loops.DayOf(s.At, w.settings.Zone)
	if owners := loops.DayOf(s.At, w.zoneOf(file.Owner)); owners.After(today) {
		today = owners
	}
	if e.Day.After(today) {
		return e, wrong("day", e.Day.String(), "a day that has come; today is "+today.String())
	}
	return e, w.photosKept(e)
}

// replan plans the loop of the file, in which all is as the change leaves it,
// and adds it to the change. Poured are the containers as the change leaves them.
func (w *Workshop) replan(change *loops.Change, file File, poured ...loops.Container) (loops.Loop, error) {
	is := file.Loop
	containers, err := w.containersIn(is.ID, poured)
	if err != nil {
		return loops.Loop{}, err
	}
	is.Plan, err = w.plan(Stamp{At: change.At, By: change.By}, file.Machine, is, file.History, containers)
	if err != nil {
		return loops.Loop{}, err
	}
	change.Loops = append(change.Loops, is)
	return is, nil
}

// wrong names a field, its value and what would be right.
func wrong(field, value, reason string) error {
	return &loops.InvalidError{Field: field, Value: value, Reason: reason}
}
