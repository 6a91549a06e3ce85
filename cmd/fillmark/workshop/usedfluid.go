// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
)

// UsedLine is a line of the used-fluid log as it is read.
type UsedLine struct {
	// Tag is that of the loop it is from; empty where it is from several.
	Tag loops.Tag `json:"tag,omitempty"`
	loops.UsedFluid
	// Struck tells that the entry it came with is struck out: it does not count.
	Struck bool `json:"struck,omitempty"`
}

// UsedFluid returns the used-fluid log, the newest line first, at most so many
// of them; zero is all. Lines are never changed: whether one is struck follows
// from the history of its loop.
func (w *Workshop) UsedFluid(most int) ([]UsedLine, error) {
	lines := []UsedLine{}
	var ids []loops.LoopID
	for u, err := range w.register.UsedFluid() {
		if err != nil {
			return nil, err
		}
		if len(lines) == most && most > 0 {
			break
		}
		lines, ids = append(lines, UsedLine{UsedFluid: u}), append(ids, u.Loop)
	}
	tags, err := w.TagsOf(ids)
	if err != nil {
		return nil, err
	}
	histories, err := w.register.Histories(ids)
	if err != nil {
		return nil, err
	}
	for i := range lines {
		l := &lines[i]
		l.Tag = tags[l.Loop]
		l.Struck = l.Entry != 0 && !slices.ContainsFunc(loops.Standing(histories[l.Loop]), func(e loops.Entry) bool { return e.ID == l.Entry })
	}
	return lines, nil
}

// AddWaste records a line of the used-fluid log that no entry of a history
// made. An empty tag says that it is from several loops.
func (w *Workshop) AddWaste(s Stamp, tag loops.Tag, u loops.UsedFluid) (loops.UsedFluid, error) {
	u.Recorded, u.By, u.Loop, u.Entry = s.At, s.By, 0, 0
	if u.Day.IsZero() {
		u.Day = loops.DayOf(s.At, w.settings.Zone)
	}
	if tag != "" {
		loop, err := w.register.LoopByTag(tag)
		if err != nil {
			return u, orNotFound("loop", tag, err)
		}
		u.Loop = loop.ID
	}
	if err := u.Validate(); err != nil {
		return u, err
	}
	_, err := commitNew(w.register.NewUsedFluidID, func(id loops.UsedFluidID) error {
		u.ID = id
		return w.putShelf(s, "used fluid", loops.Shelf{UsedFluid: []loops.UsedFluid{u}})
	})
	return u, err
}

// usedBy are the lines of the used-fluid log that an entry makes: of a drain
// and of a top-up that took some out first, where it was measured. What was in
// a loop without a charge on record is not known, and handled as such.
func (w *Workshop) usedBy(s Stamp, file File, e loops.Entry) ([]loops.UsedFluid, error) {
	var volume chemistry.Litre
	var hazard, went string
	switch e.Kind {
	case loops.KindDrain:
		volume, hazard, went = e.Drain.Out, e.Drain.Hazard, e.Drain.Disposal
	case loops.KindTopUp:
		volume, hazard, went = e.TopUp.Drained, e.TopUp.Hazard, e.TopUp.Disposal
	}
	if volume == 0 {
		return nil, nil
	}
	if went == "" {
		return nil, wrong("disposal", "", "where the used liquid went or is kept")
	}
	line := loops.UsedFluid{
		Recorded: s.At, Day: e.Day, By: s.By, Loop: file.Loop.ID, Entry: e.ID, Volume: volume, Hazard: hazard, Went: went,
	}
	if charge := file.snapshot().On(e.Day).Charge; charge != nil {
		line.Fluid = charge.Fluid
	}
	err := line.Validate()
	if err == nil {
		line.ID, err = w.register.NewUsedFluidID()
	}
	if err != nil {
		return nil, fmt.Errorf("used fluid: %w", err)
	}
	return []loops.UsedFluid{line}, nil
}
