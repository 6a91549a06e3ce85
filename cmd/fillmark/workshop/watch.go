// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"iter"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/evidence"
)

// evidenceKeeper is where evidence and watches are kept.
type evidenceKeeper interface {
	Evidence() (loops.Evidence, error)
	Evidences() iter.Seq2[loops.Evidence, error]
	PutEvidence(loops.Evidence, string) error
	Watches() iter.Seq2[loops.PatternWatch, error]
	AddWatch(loops.PatternWatch, time.Time) (loops.PatternWatch, error)
	ReadWatch(loops.WatchID, loops.WatchReading, string, time.Time) error
}

// AddWatch writes down a pattern, to be tested on what happens to charges from
// tomorrow on.
func (w *Workshop) AddWatch(s Stamp, watch loops.PatternWatch) (evidence.WatchLine, error) {
	trait, err := evidence.ParseTrait(watch.Trait)
	if err != nil {
		return evidence.WatchLine{}, err
	}
	if _, err := evidence.ParseCause(string(watch.Cause)); err != nil {
		return evidence.WatchLine{}, err
	}
	watch.Reading = nil // nobody reads a watch but the cases
	watch.Trait, watch.By, watch.Registered = trait.String(), s.By, loops.DayOf(s.At, w.settings.Zone)
	if err := watch.Validate(); err != nil {
		return evidence.WatchLine{}, err
	}
	for known, err := range w.register.Watches() {
		if err != nil {
			return evidence.WatchLine{}, err
		}
		if known.Reading == nil && known.Cause == watch.Cause && strings.EqualFold(known.Trait, watch.Trait) {
			return evidence.WatchLine{}, wrong("trait", watch.Trait, "one that is not under watch yet; this is, since "+known.Registered.Long())
		}
	}
	if watch, err = w.register.AddWatch(watch, s.At); err != nil {
		return evidence.WatchLine{}, err
	}
	cases, err := w.Cases()
	if err != nil {
		return evidence.WatchLine{}, err
	}
	return evidence.TestWatch(cases, watch)
}

// Watches lists the watches with what has come of them.
func (w *Workshop) Watches() ([]evidence.WatchLine, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	lines := []evidence.WatchLine{}
	for watch, err := range w.register.Watches() {
		if err != nil {
			return nil, err
		}
		line, err := evidence.TestWatch(cases, watch)
		if err != nil {
			return nil, err
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// readWatches keeps the reading of each watch whose failures have come, with the
// cases it was made from: nothing that is measured later changes it.
func (w *Workshop) readWatches(s Stamp, cases []evidence.Case) error {
	for watch, err := range w.register.Watches() {
		if err != nil {
			return err
		}
		line, err := evidence.TestWatch(cases, watch)
		if err != nil {
			return err
		}
		if !line.Due() {
			continue
		}
		err = w.register.ReadWatch(watch.ID, line.ReadingOn(loops.DayOf(s.At, w.settings.Zone), cases), s.By, s.At)
		if err != nil && !errors.Is(err, loops.ErrConflict) { // else somebody read it just now
			return err
		}
	}
	return nil
}
