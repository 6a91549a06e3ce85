// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"slices"

	"fillmark/loops"
	"fillmark/schedule"
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
}

// Record appends an entry to the history of the loop with the tag, folds and
// plans the loop anew, and queues the mail the entry causes, all in one change.
func (w *Workshop) Record(s Stamp, tag loops.Tag, e loops.Entry) (Recorded, error) {
	for attempt := 0; ; attempt++ {
		recorded, err := w.recordOnce(s, tag, e)
		if errors.Is(err, loops.ErrConflict) && attempt < conflictRetries {
			continue
		}
		return recorded, err
	}
}

func (w *Workshop) recordOnce(s Stamp, tag loops.Tag, e loops.Entry) (Recorded, error) {
	file, err := w.File(tag)
	if err != nil {
		return Recorded{}, err
	}
	change, file, err := w.enter(s, file, e)
	if err != nil {
		return Recorded{}, err
	}
	change.Action = string(e.Kind)
	recorded := Recorded{Entry: change.Entries[0]}
	if e.Kind == loops.KindHandover {
		if recorded.Mailed, err = w.handOver(s, file, recorded.Entry, &change); err != nil {
			return Recorded{}, err
		}
	}
	if err := w.register.Commit(change); err != nil {
		return Recorded{}, err
	}
	recorded.Loop, err = w.register.Loop(file.Loop.ID)
	return recorded, err
}

// enter makes the change that appends entries to a loop's history, folded and
// planned anew, and the file as it is then.
func (w *Workshop) enter(s Stamp, file File, entries ...loops.Entry) (loops.Change, File, error) {
	was := file.Loop
	change := loops.Change{At: s.At, By: s.By}
	history := slices.Clone(file.History)
	for _, e := range entries {
		e.ID, e.Loop, e.Recorded, e.By = file.Loop.LastEntry+1, was.ID, s.At, s.By
		if e.Day.IsZero() {
			e.Day = loops.DayOf(s.At, w.zoneOf(file.Owner))
		}
		if err := e.Validate(); err != nil {
			return change, file, err
		}
		if err := w.admissible(s, file, e); err != nil {
			return change, file, err
		}
		file.Loop.LastEntry = e.ID
		history = append(history, e)
		change.Entries = append(change.Entries, e)
	}
	file.History = history
	file.Loop.State = loops.Fold(history)
	var err error
	file.Loop.Plan, err = schedule.PlanLoop(schedule.Input{Policy: w.settings.Policy, Machine: file.Machine, Loop: file.Loop})
	if err != nil {
		return change, file, fmt.Errorf("plan loop %s: %w", was.Tag, err)
	}
	change.Loops = []loops.Loop{file.Loop}
	change.DueDel, change.DuePut = loops.DueDifference(was, file.Loop)
	return change, file, nil
}

// admissible refuses an entry that contradicts what the register knows.
func (w *Workshop) admissible(s Stamp, file File, e loops.Entry) error {
	wrong := func(field, value, reason string) error {
		return &loops.InvalidError{Field: field, Value: value, Reason: reason}
	}
	if today := loops.DayOf(s.At, w.settings.Zone).AddDays(1); e.Day.After(today) {
		return wrong("day", e.Day.String(), "a day that has come; today is "+today.AddDays(-1).String())
	}
	state := file.Loop.State
	switch e.Kind {
	case loops.KindFill:
		if volume := e.Fill.Charge.Volume; volume > file.Loop.Volume+file.Loop.VolumeUncertainty {
			return wrong("volume", volume.String(), "not more than the loop holds, "+file.Loop.Volume.String())
		}
	case loops.KindTopUp, loops.KindDose, loops.KindHandover:
		if state.Charge == nil {
			return wrong("tag", string(file.Loop.Tag), "a loop with a charge; record its fill first")
		}
	case loops.KindCorrection:
		struck := slices.ContainsFunc(file.History, func(x loops.Entry) bool { return x.ID == e.Correction.Strikes })
		if !struck {
			return wrong("strikes", fmt.Sprint(e.Correction.Strikes), fmt.Sprintf("an entry of this loop, 1 to %d", file.Loop.LastEntry))
		}
	case loops.KindTransfer:
		if _, err := w.register.Owner(e.Transfer.To); err != nil {
			return fmt.Errorf("owner %d: %w", e.Transfer.To, err)
		}
	}
	return nil
}
