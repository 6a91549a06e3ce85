// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fillmark/loops"
	"fillmark/loops/findings"
)

// WatchLine is a watch and what the lives that ended since say about it.
type WatchLine struct {
	loops.PatternWatch
	Answer PatternLine `json:"answer"`
	// PassedOver are cases that ended too early to test it; Failures are those
	// after its day.
	PassedOver int `json:"passed_over"`
	Failures   int `json:"failures"`
}

// AddWatch writes down a pattern, to be tested on lives that end from tomorrow
// on.
func (w *Workshop) AddWatch(s Stamp, watch loops.PatternWatch) (WatchLine, error) {
	trait, err := ParseTrait(watch.Trait)
	if err != nil {
		return WatchLine{}, err
	}
	if _, err := ParseCause(string(watch.Cause)); err != nil {
		return WatchLine{}, err
	}
	watch.Trait, watch.By, watch.Registered = trait.String(), s.By, loops.DayOf(s.At, w.settings.Zone)
	if err := watch.Validate(); err != nil {
		return WatchLine{}, err
	}
	for known, err := range w.register.Watches() {
		if err != nil {
			return WatchLine{}, err
		}
		if known.Trait == watch.Trait && known.Cause == watch.Cause {
			return WatchLine{}, wrong("trait", watch.Trait, "one that is not under watch yet; this is, since "+known.Registered.String())
		}
	}
	if watch, err = w.register.AddWatch(watch, s.At); err != nil {
		return WatchLine{}, err
	}
	cases, err := w.Cases()
	if err != nil {
		return WatchLine{}, err
	}
	return testWatch(cases, watch)
}

// Watches lists the watches with what has come of them.
func (w *Workshop) Watches() ([]WatchLine, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	lines := []WatchLine{}
	for watch, err := range w.register.Watches() {
		if err != nil {
			return nil, err
		}
		line, err := testWatch(cases, watch)
		if err != nil {
			return nil, err
		}
		lines = append(lines, line)
	}
	return lines, nil
}

func testWatch(cases []Case, watch loops.PatternWatch) (WatchLine, error) {
	trait, err := ParseTrait(watch.Trait)
	if err != nil {
		return WatchLine{}, err
	}
	test := findings.Watch{Trait: capital(trait.Words()), Registered: watch.Registered.String(), ReadAt: watch.ReadAt}
	answer, err := test.Test(testCases(cases, watch.Cause, trait))
	if err != nil {
		return WatchLine{}, err
	}
	return WatchLine{PatternWatch: watch, Answer: patternLine(trait, answer.TraitAnswer), PassedOver: answer.PassedOver, Failures: answer.Failures}, nil
}
