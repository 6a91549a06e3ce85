// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"

	"fillmark/loops"
	"fillmark/loops/inspection/triage"
	"fillmark/schedule"
)

// File is everything on record about one loop.
type File struct {
	Loop    loops.Loop    `json:"loop"`
	Machine loops.Machine `json:"machine"`
	// Owner is the zero value for a donor unit.
	Owner   loops.Owner   `json:"owner,omitzero"`
	History []loops.Entry `json:"history"`
	// Protection is nil where the charge or its strength is not known.
	Protection *loops.Protection `json:"protection,omitempty"`
	// Scale is nil where nothing was weighed.
	Scale *loops.WeighingSummary `json:"scale,omitempty"`
	// Readings is nil where no temperature was read.
	Readings *schedule.Readings `json:"readings,omitempty"`
}

// File reads everything on record about the loop with the tag.
func (w *Workshop) File(tag loops.Tag) (File, error) {
	loop, err := w.register.LoopByTag(tag)
	if err != nil {
		return File{}, fmt.Errorf("loop %s: %w", tag, err)
	}
	return w.fileOf(loop)
}

func (w *Workshop) fileOf(loop loops.Loop) (File, error) {
	file := File{Loop: loop}
	var err error
	if file.Machine, err = w.register.Machine(loop.Machine); err != nil {
		return File{}, fmt.Errorf("machine %d: %w", loop.Machine, err)
	}
	if file.Machine.Owner != 0 {
		if file.Owner, err = w.register.Owner(file.Machine.Owner); err != nil {
			return File{}, fmt.Errorf("owner %d: %w", file.Machine.Owner, err)
		}
	}
	if file.History, err = w.register.History(loop.ID); err != nil {
		return File{}, err
	}
	file.Protection = loop.Protection()
	file.Scale = loops.WeighingSummaryOf(loop, file.History)
	file.Readings = schedule.ReadingsOf(loop, file.History)
	return file, nil
}

// Seen is what is on record that the triage starts from: the newest readings,
// and what the steps of this visit found.
func (f File) Seen() triage.Seen {
	if f.Readings != nil && f.Readings.Last != nil {
		return f.Readings.Last.Seen
	}
	return triage.Seen{Sealed: f.Loop.Sealed, Signs: schedule.SignsFound(f.Loop, f.History)}
}
