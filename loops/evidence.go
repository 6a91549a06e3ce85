// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"
	"time"
)

// Evidence is what opened loops have taught: worked out from the register and kept
// in versions. It moves no due date: in simulated workshops no rule that did let
// fewer failures through than a fixed interval with as many looks
// (doc/findings.md). The zero value is none.
type Evidence struct {
	// Version counts from 1.
	Version uint64        `json:"version"`
	Made    time.Time     `json:"made"` // the instant, UTC
	Ages    []EvidenceAge `json:"ages,omitempty"`
	// Notices are what the technician is told on the first page.
	Notices []EvidenceNotice `json:"notices,omitempty"`
}

// EvidenceNotice is something that several openings have in common.
type EvidenceNotice struct {
	Cause Cause  `json:"cause"`
	Trait string `json:"trait,omitempty"` // "metal=aluminium"; empty where nothing tells them apart
	// Failed of Of charges that are known failed or good.
	Failed int `json:"failed"`
	Of     int `json:"of"`
	// Text counts them, Reason says whether it is pattern or chance.
	Text   string `json:"text"`
	Reason string `json:"reason"`
}

// EvidenceAge is the age since the fill at which to look at sealed or at open
// loops with charges of one origin, and what it rests on. Plans were moved by it
// once, and old versions hold it; new ones do not (doc/findings.md says why).
type EvidenceAge struct {
	Origin Origin  `json:"origin"`
	Sealed bool    `json:"sealed,omitempty"` // else open
	Months float64 `json:"months"`
	// Shape is the Weibull shape that brings the next look at a loop known good
	// forward the most; zero where the failures are too few to tell.
	Shape float64 `json:"shape,omitempty"`
	// Text gives the figures in half a sentence.
	Text       string  `json:"text"`
	Lives      int     `json:"lives"`
	Failures   int     `json:"failures"`
	LoopMonths float64 `json:"loop_months"` // under watch
	// Since is the day from which the age is known to be about this short.
	Since Day `json:"since,omitzero"`
}

// Follow makes the evidence the version after another one, at an instant.
func (e Evidence) Follow(was Evidence, at time.Time) Evidence {
	e.Version, e.Made = was.Version+1, at.UTC()
	return e
}

// Same tells whether two versions say the same.
func (e Evidence) Same(o Evidence) bool {
	return len(e.Ages) == len(o.Ages) && slices.Equal(e.Notices, o.Notices)
}

// WatchID numbers the watches. Zero is none.
type WatchID uint64

// PatternWatch is a pattern seen in some openings, written down to be tested on
// lives that end later.
type PatternWatch struct {
	ID    WatchID `json:"id"`
	Cause Cause   `json:"cause"`
	Trait string  `json:"trait"` // "metal=aluminium"
	// Registered is the day it was written down: lives that ended up to and
	// with it do not count.
	Registered Day `json:"registered"`
	// ReadAt is the number of later failures at which it is read, once; zero
	// reads it each time.
	ReadAt int    `json:"read_at,omitempty"`
	By     string `json:"by"`
	Why    string `json:"why,omitempty"`
	// Reading is what it said when its failures had come; nil before.
	Reading *WatchReading `json:"reading,omitempty"`
}

// WatchReading is the answer of a watch, kept with the cases that it rests on.
// What is measured later changes neither.
type WatchReading struct {
	Day           Day         `json:"day"` // on which it was read
	FailedWith    int         `json:"failed_with"`
	FailedWithout int         `json:"failed_without"`
	GoodWith      int         `json:"good_with"`
	GoodWithout   int         `json:"good_without"`
	Expected      float64     `json:"expected_with"` // failures with the trait, if both sides failed alike
	Ratio         *float64    `json:"ratio,omitempty"`
	Lower         *float64    `json:"lower,omitempty"`
	Upper         *float64    `json:"upper,omitempty"`
	P             *float64    `json:"p,omitempty"`
	Sentence      string      `json:"sentence"`
	Cases         []WatchCase `json:"cases"`
}

// WatchCase is one charge of a reading, its ages in months.
type WatchCase struct {
	Tag     Tag      `json:"tag"`
	With    bool     `json:"with"`
	Entered float64  `json:"entered_months"` // its age on the day of the watch
	Good    float64  `json:"good_months"`
	Failed  *float64 `json:"found_failed_months,omitempty"`
}

// Validate returns all that is wrong with the watch's fields, joined.
func (w PatternWatch) Validate() error {
	var p problems
	p.add(oneOf("cause", w.Cause, Causes()...))
	p.add(requireText("trait", w.Trait, 200))
	p.add(w.Registered.validate("registered"))
	p.add(inRange("read at", float64(w.ReadAt), 0, 1000, "failures"))
	p.add(requireText("by", w.By, 100))
	p.add(checkText("why", w.Why, 500, false))
	return p.err()
}
