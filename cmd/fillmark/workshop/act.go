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
	return w.act(s, tag, recording, all)
}

func (w *Workshop) act(s Stamp, tag loops.Tag, as telling, all []acts.Act) (Recorded, error) {
	recorded, err := retried(w, func() (Recorded, error) { return w.actOnce(s, tag, all, as) })
	if err == nil && !recorded.Repeated && slices.ContainsFunc(all, teaches) {
		if _, learnt := w.Learn(context.Background(), s); learnt != nil {
			recorded.Warnings = append(recorded.Warnings, "It is on record; what it teaches is worked out in the daily pass: "+learnt.Error())
		}
	}
	return recorded, err
}

// Check judges acts as [Workshop.Act] does and writes nothing.
func (w *Workshop) Check(s Stamp, tag loops.Tag, all ...acts.Act) (Recorded, error) {
	return w.actOnce(s, tag, all, judging)
}

// telling is what acts are told for.
type telling int

const (
	judging     telling = iota // nothing is written
	recording                  // as they are done
	recordTable                // of the past: it tells what the owner agreed to and how the loop was built then, not what holds today
)

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

func (w *Workshop) actOnce(s Stamp, tag loops.Tag, all []acts.Act, as telling) (Recorded, error) {
	file, err := w.File(tag)
	if err != nil {
		return Recorded{}, err
	}
	if len(all) == 0 {
		return Recorded{}, wrong("acts", "none", "at least one act")
	}
	if first, err := w.again(s, file, all); err != nil || first.Repeated {
		return first, err
	}
	recorded := Recorded{Verdict: chemistry.Go, Reasons: []chemistry.Reason{}}
	change := loops.Change{At: s.At, By: s.By, Action: actionOf(all)}
	was := file
	for _, a := range all {
		if kind := acts.KindOf(a); kind == loops.KindTransfer && len(all) > 1 {
			return Recorded{}, wrong("kind", string(kind), "an act by itself")
		}
		if file, err = w.apply(s, file, a, &change, &recorded); err != nil {
			return Recorded{}, err
		}
	}
	if as == recordTable {
		change.Owners, file.Owner, file.Loop.Construction = nil, was.Owner, was.Loop.Construction
	}
	recorded.Entry, recorded.Loop = change.Entries[len(change.Entries)-1], file.Loop
	if change.Shelf.Containers, recorded.Warnings, err = w.poured(file.Loop.ID, was.History, file.History); err != nil {
		return Recorded{}, err
	}
	switch {
	case as == judging:
		return recorded, nil
	case recorded.Entry.Kind == loops.KindTransfer:
		return w.transfer(s, file, recorded)
	}
	if file.Loop, err = w.replan(&change, file, change.Shelf.Containers...); err != nil {
		return Recorded{}, err
	}
	for _, e := range change.Entries {
		if e.Kind == loops.KindHandover || e.Kind == loops.KindReturn {
			var untold string
			if recorded.Mailed, untold, err = w.handOver(s, file, e, &change); err != nil {
				return Recorded{}, err
			}
			if untold != "" {
				recorded.Warnings = append(recorded.Warnings, untold)
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

// again finds acts that were sent before. The first answer comes back for the
// same key; the same key with another content, and the same content without a
// key, are refused.
func (w *Workshop) again(s Stamp, file File, all []acts.Act) (Recorded, error) {
	key := acts.KeyOf(all[0])
	if key == "" {
		return Recorded{}, w.justDone(s, file, all[0])
	}
	e, err := w.register.EntryByKey(key)
	switch {
	case errors.Is(err, loops.ErrNotFound):
		return Recorded{}, nil
	case err != nil:
		return Recorded{}, err
	case e.Loop != file.Loop.ID:
		return Recorded{}, &RepeatedError{Key: key, Act: string(e.Kind), Field: "tag"}
	}
	entries, err := w.sentBefore(file, e, key, all)
	if err != nil {
		return Recorded{}, err
	}
	first := Recorded{Loop: file.Loop, Verdict: chemistry.Go, Reasons: []chemistry.Reason{}, Repeated: true}
	for _, e := range entries {
		if first.Entry = e; e.Judged == nil {
			continue
		}
		first.Verdict = first.Verdict.Max(e.Judged.Verdict)
		for _, r := range e.Judged.Reasons {
			first.Reasons = append(first.Reasons, chemistry.Reason{Rule: r.Rule, Verdict: r.Verdict, Text: r.Text})
		}
	}
	return first, nil
}

// justDone refuses an act without a key that says what one on record says that
// was written a moment ago. What was struck out since may be said again.
func (w *Workshop) justDone(s Stamp, file File, a acts.Act) error {
	d := acts.Of(a)
	snapshot, err := w.snapshotFor(file, a)
	if err != nil {
		return err
	}
	if err := a.Check(snapshot, loops.DayOf(s.At, w.zoneOf(file.Owner))); err != nil {
		return d.Named(err) // what cannot be was not done twice
	}
	for _, e := range loops.Standing(file.History) {
		if e.Kind == d.Kind && s.At.Sub(e.Recorded).Minutes() < againWithin && acts.Differs(d, a, e, snapshot) == "" {
			return fmt.Errorf("the same %s is on record as entry %d, written %s; if it was done twice, send it with a key of its own (--key): %w",
				d.Name, e.ID, e.Recorded.UTC().Format("15:04:05 UTC"), loops.ErrRepeated)
		}
	}
	return nil
}

// sentBefore returns the entries that the acts with the key were written as, e
// the first of them and the others behind it in one change, or as a
// [RepeatedError] where they say something else.
func (w *Workshop) sentBefore(file File, e loops.Entry, key string, all []acts.Act) ([]loops.Entry, error) {
	at := slices.IndexFunc(file.History, func(x loops.Entry) bool { return x.ID == e.ID })
	if at < 0 {
		return nil, fmt.Errorf("entry %d of loop %s: %w", e.ID, file.Loop.Tag, loops.ErrNotFound)
	}
	written := file.History[at:]
	for i, a := range all {
		d := acts.Of(a)
		if i >= len(written) || written[i].Kind != d.Kind || !written[i].Recorded.Equal(e.Recorded) || i > 0 && written[i].Key != "" {
			return nil, &RepeatedError{Key: key, Act: d.Name, Field: "act"}
		}
		snapshot, err := w.snapshotFor(file, a)
		if err != nil {
			return nil, err
		}
		if field := acts.Differs(d, a, written[i], snapshot); field != "" {
			return nil, &RepeatedError{Key: key, Act: d.Name, Field: field}
		}
	}
	if more := written[len(all):]; len(more) > 0 && more[0].Recorded.Equal(e.Recorded) && more[0].Key == "" {
		d, _ := acts.OfKind(more[0].Kind)
		return nil, &RepeatedError{Key: key, Act: d.Name, Field: "act"}
	}
	return written[:len(all)], nil
}

// RepeatedError tells that a key was sent before with something else. It matches
// [loops.ErrRepeated].
type RepeatedError struct {
	Key string
	// Act and Field are where the two differ: of an act that is only in one of them
	// the field is "act", of one of another loop "tag". Act is empty for
	// a field of the owner, the machine or the loop that came in.
	Act, Field string
}

// Error names the key, and where the two differ.
func (e *RepeatedError) Error() string {
	act := e.Act
	if act == "" {
		act = "registration"
	}
	switch e.Field {
	case "tag":
		return fmt.Sprintf("the key %q stands for another act, %s of another loop: %v", e.Key, act, loops.ErrRepeated)
	case "act":
		return fmt.Sprintf("the key %q was sent before with other acts, and differs by the %s: %v", e.Key, act, loops.ErrRepeated)
	}
	return fmt.Sprintf("the key %q was sent before with something else in the field %s of the %s: %v", e.Key, e.Field, act, loops.ErrRepeated)
}

// Unwrap is [loops.ErrRepeated].
func (e *RepeatedError) Unwrap() error { return loops.ErrRepeated }

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
