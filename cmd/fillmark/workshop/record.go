// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"fillmark/loops"
)

// conflictRetries is how often an action that nobody typed a revision into
// reads again after somebody else wrote in between.
const conflictRetries = 5

// Recorded is what [Workshop.Record] wrote.
type Recorded struct {
	Entry loops.Entry `json:"entry"`
	Loop  loops.Loop  `json:"loop"`
	// Mailed is the subject of the mail that the entry caused; empty if none.
	Mailed string `json:"mailed,omitempty"`
	// Warnings say what to mind about what was recorded.
	Warnings []string `json:"warnings,omitempty"`
}

// Record appends entries to the history of the loop with the tag, folds and
// plans the loop anew, queues the mail that they cause, and writes what they do
// to the shelf: all in one change, or nothing. Each is checked against what those
// before it left. A transfer moves the machine, so it is recorded for every loop
// in it, and by itself. Recorded holds the last entry.
//
// A pour that names a container and no liquid takes the liquid from the
// container's record.
func (w *Workshop) Record(s Stamp, tag loops.Tag, entries ...loops.Entry) (Recorded, error) {
	recorded, err := retried(w, func() (Recorded, error) { return w.recordOnce(s, tag, entries) })
	if err == nil && slices.ContainsFunc(entries, teaches) {
		if _, learnt := w.Learn(context.Background(), s); learnt != nil {
			recorded.Warnings = append(recorded.Warnings, "It is on record; what it teaches is reckoned with the pass of the day: "+learnt.Error())
		}
	}
	return recorded, err
}

// teaches tells whether an entry changes what openings say at once. To reckon
// it reads the whole register, so what a measurement adds, one more life under
// watch, waits for the pass of the day.
func teaches(e loops.Entry) bool {
	return e.Kind == loops.KindOpening || e.Kind == loops.KindCorrection
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

func (w *Workshop) recordOnce(s Stamp, tag loops.Tag, entries []loops.Entry) (Recorded, error) {
	file, err := w.File(tag)
	if err != nil {
		return Recorded{}, err
	}
	if len(entries) == 0 {
		return Recorded{}, wrong("entries", "none", "at least one entry")
	}
	change := loops.Change{At: s.At, By: s.By, Action: actionOf(entries)}
	was := file.History
	var recorded Recorded
	for _, e := range entries {
		if e, err = w.admitted(s, file, e); err != nil {
			return Recorded{}, err
		}
		if e.Kind == loops.KindTransfer {
			if len(entries) > 1 {
				return Recorded{}, wrong("kind", string(e.Kind), "an entry by itself")
			}
			return w.transfer(s, file, e)
		}
		used, err := w.usedBy(s, file, e)
		if err != nil {
			return Recorded{}, err
		}
		change.Shelf.UsedFluid = append(change.Shelf.UsedFluid, used...)
		file = file.with(e)
		change.Entries = append(change.Entries, e)
		recorded.Entry = e
	}
	if change.Shelf.Containers, recorded.Warnings, err = w.poured(file.Loop.ID, was, file.History); err != nil {
		return Recorded{}, err
	}
	if file.Loop, err = w.replan(&change, file, change.Shelf.Containers...); err != nil {
		return Recorded{}, err
	}
	for _, e := range change.Entries {
		if e.Kind == loops.KindHandover {
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

// actionOf names what was done for the audit: each kind once.
func actionOf(entries []loops.Entry) string {
	var kinds []string
	for _, e := range entries {
		if kind := string(e.Kind); !slices.Contains(kinds, kind) {
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

// admitted returns the entry as it is recorded: with its day, what its
// containers say, and its number.
func (w *Workshop) admitted(s Stamp, file File, e loops.Entry) (loops.Entry, error) {
	if e.Day.IsZero() {
		e.Day = loops.DayOf(s.At, w.zoneOf(file.Owner))
	}
	if e.Transfer != nil {
		e.Transfer = &loops.Transfer{From: file.Machine.Owner, To: e.Transfer.To}
	}
	e, err := w.fromShelf(e)
	if err != nil {
		return e, err
	}
	return w.checked(s, file, e)
}

// checked returns the entry as it is recorded, or what is wrong with it.
func (w *Workshop) checked(s Stamp, file File, e loops.Entry) (loops.Entry, error) {
	e.ID, e.Loop, e.Recorded, e.By = file.Loop.LastEntry+1, file.Loop.ID, s.At, s.By
	if err := e.Validate(); err != nil {
		return e, err
	}
	return e, w.admissible(s, file, e)
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

// stateOn is the state of a loop at the end of a day, by what stands in its
// history now: an entry may be recorded late.
func stateOn(history []loops.Entry, day loops.Day) loops.State {
	return loops.Fold(slices.DeleteFunc(slices.Clone(history), func(e loops.Entry) bool {
		return e.Day.After(day) && e.Kind != loops.KindCorrection
	}))
}

// admissible refuses an entry that contradicts what the register knows.
func (w *Workshop) admissible(s Stamp, file File, e loops.Entry) error {
	if today := loops.DayOf(s.At, w.settings.Zone).AddDays(1); e.Day.After(today) {
		return wrong("day", e.Day.String(), "a day that has come; today is "+today.AddDays(-1).String())
	}
	if err := w.photosKept(e); err != nil {
		return err
	}
	state := file.Loop.State
	if retired := state.Retired; !retired.IsZero() && !e.Day.Before(retired) && returnsToService(e.Kind) {
		return wrong("kind", string(e.Kind), "an intake first: the loop was retired on "+retired.String()+"; openings may be recorded as they are")
	}
	switch e.Kind {
	case loops.KindFill:
		if to := e.Fill.Charge.FilledTo; to.After(e.Day) {
			return wrong("filled to", to.String(), "not after the day of the entry, "+e.Day.String())
		}
		if volume := e.Fill.Charge.Volume; volume > file.Loop.Volume+file.Loop.VolumeUncertainty {
			return wrong("volume", volume.String(), "not more than the loop holds, "+file.Loop.Volume.String())
		}
		if poured := pouredVolume(e.Fill.Poured); poured > e.Fill.Charge.Volume+rounding {
			return wrong("volume", e.Fill.Charge.Volume.String(), "not less than what went in, "+poured.String())
		}
	case loops.KindOpening:
		return w.openingFits(file, e)
	case loops.KindHandover:
		if state.Charge == nil {
			return wrong("tag", string(file.Loop.Tag), "a loop with a charge; record its fill first")
		}
	case loops.KindTopUp, loops.KindDose:
		if stateOn(file.History, e.Day).Charge == nil {
			return wrong("tag", string(file.Loop.Tag), "a loop with a charge on "+e.Day.String()+"; record its fill first")
		}
	case loops.KindCorrection:
		struck := slices.ContainsFunc(file.History, func(x loops.Entry) bool { return x.ID == e.Correction.Strikes })
		if !struck {
			return wrong("strikes", fmt.Sprint(e.Correction.Strikes), fmt.Sprintf("an entry of this loop, 1 to %d", file.Loop.LastEntry))
		}
	case loops.KindStep:
		if !slices.ContainsFunc(loops.StepsFor(file.Loop.Sealed), func(x loops.Step) bool { return x.ID == e.Step.Step }) {
			return wrong("step", string(e.Step.Step), "a step for this kind of loop; fillmark loop steps lists them")
		}
		if e.Step.LeftOut && e.Note == "" {
			return wrong("note", "", "why the step was left out")
		}
	case loops.KindTransfer:
		if e.Transfer.To == file.Machine.Owner {
			return wrong("to", fmt.Sprint(e.Transfer.To), "another owner than the present one")
		}
		if file.Machine.Kind == loops.DonorUnit {
			return wrong("tag", string(file.Loop.Tag), "a machine with an owner; a donor unit has none and gets none")
		}
		if _, err := w.register.Owner(e.Transfer.To); err != nil {
			return fmt.Errorf("owner %d: %w", e.Transfer.To, err)
		}
	}
	return nil
}

// returnsToService tells of which kinds an entry makes no sense for a loop
// that left service and has not come in again.
func returnsToService(kind loops.EntryKind) bool {
	switch kind {
	case loops.KindFill, loops.KindTopUp, loops.KindDose, loops.KindHandover, loops.KindSetting, loops.KindRetirement:
		return true
	}
	return false
}
