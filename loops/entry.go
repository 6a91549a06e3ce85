// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"strings"
	"time"
)

// Entry is one dated line of a loop's history. History is append-only: an
// entry is never changed, only struck out by a later [Correction].
type Entry struct {
	ID       EntryID   `json:"id"`
	Loop     LoopID    `json:"loop"`
	Recorded time.Time `json:"recorded"` // the instant, UTC
	Day      Day       `json:"day"`      // the civil day it happened
	By       string    `json:"by"`       // who recorded it, "local:USER" from a command
	Kind     EntryKind `json:"kind"`
	Note     string    `json:"note,omitempty"`

	// Exactly the payload that the kind names is set; kinds without figures
	// of their own (flush, note) have none, and a clean may have none.
	Intake     *Intake     `json:"intake,omitempty"`
	Inspection *Inspection `json:"inspection,omitempty"`
	Opening    *Opening    `json:"opening,omitempty"`
	Fill       *Fill       `json:"fill,omitempty"`
	TopUp      *TopUp      `json:"top_up,omitempty"`
	Dose       *Dose       `json:"dose,omitempty"`
	Drain      *Drain      `json:"drain,omitempty"`
	LeakCheck  *LeakCheck  `json:"leak_check,omitempty"`
	Proof      *Proof      `json:"proof,omitempty"`
	Handover   *Handover   `json:"handover,omitempty"`
	Answer     *Answer     `json:"answer,omitempty"`
	Correction *Correction `json:"correction,omitempty"`
	Transfer   *Transfer   `json:"transfer,omitempty"`
	Retirement *Retirement `json:"retirement,omitempty"`
	Setting    *Setting    `json:"setting,omitempty"`
	Weighing   *Weighing   `json:"weighing,omitempty"`
	Step       *StepDone   `json:"step,omitempty"`
	Clean      *Cleaning   `json:"clean,omitempty"`
	Return     *Return     `json:"return,omitempty"`
	Swap       *Swap       `json:"swap,omitempty"`
	Call       *OwnerCall  `json:"call,omitempty"`
	Work       *Work       `json:"work,omitempty"`
	// TemperatureLog is what a log showed; the log itself is not kept.
	TemperatureLog *TemperatureLog `json:"temperature_log,omitempty"`

	// Judged is what the register knew against it when it was recorded; nil for
	// what was recorded before that was asked.
	Judged *Judged `json:"judged,omitempty"`
	// Key is what the sender made for it, so that the same act sent twice is one
	// entry; empty where it made none.
	Key string `json:"key,omitempty"`
}

// BeginsCharge tells that another charge is in the loop from the entry on: it was
// filled, or a cooler with a charge of its own was fitted.
func (e Entry) BeginsCharge() bool { return e.Kind == KindFill || e.Kind == KindSwap }

// PhotoHashes lists the photos beside the register that the entry names.
func (e Entry) PhotoHashes() []string {
	var hashes []string
	if e.Intake != nil {
		hashes = append(hashes, e.Intake.Photos...)
	}
	if e.Answer != nil && e.Answer.Photo != "" {
		hashes = append(hashes, e.Answer.Photo)
	}
	if e.Opening != nil {
		for _, photo := range e.Opening.Photos {
			hashes = append(hashes, photo.Hash)
		}
	}
	return hashes
}

// EntryKind is a kind of entry.
type EntryKind string

// The kinds of entry.
const (
	KindIntake     EntryKind = "intake"
	KindInspection EntryKind = "inspection"
	KindOpening    EntryKind = "opening"
	KindClean      EntryKind = "clean"
	KindFlush      EntryKind = "flush"
	KindFill       EntryKind = "fill"
	KindTopUp      EntryKind = "top-up"
	KindDose       EntryKind = "dose"
	KindDrain      EntryKind = "drain"
	KindLeakCheck  EntryKind = "leak check"
	KindProof      EntryKind = "proof"
	KindHandover   EntryKind = "hand-over"
	KindAnswer     EntryKind = "answer"
	KindCorrection EntryKind = "correction"
	KindTransfer   EntryKind = "transfer"
	KindRetirement EntryKind = "retirement"
	KindSetting    EntryKind = "setting"
	KindWeighing   EntryKind = "weighing"
	KindStep       EntryKind = "step"
	KindNote       EntryKind = "note"
	KindReturn     EntryKind = "return as it is"
	KindSwap       EntryKind = "swap"
	KindCall       EntryKind = "call"
	KindLog        EntryKind = "temperature log"
	KindWork       EntryKind = "work"
)

// EntryKinds lists every kind.
func EntryKinds() []EntryKind {
	return []EntryKind{KindIntake, KindInspection, KindOpening, KindClean, KindFlush, KindFill,
		KindTopUp, KindDose, KindDrain, KindLeakCheck, KindProof, KindHandover, KindAnswer,
		KindCorrection, KindTransfer, KindRetirement, KindSetting, KindWeighing, KindStep, KindNote, KindReturn, KindSwap, KindCall, KindLog, KindWork}
}

// payload is what a kind carries: it can check itself.
type payload interface{ validate() error }

// payloads returns the payload of every kind that has one; the value is nil
// where the entry does not carry it.
func (e Entry) payloads() map[EntryKind]payload {
	return map[EntryKind]payload{
		KindIntake: orNil(e.Intake), KindInspection: orNil(e.Inspection), KindOpening: orNil(e.Opening),
		KindFill: orNil(e.Fill), KindTopUp: orNil(e.TopUp), KindDose: orNil(e.Dose),
		KindDrain: orNil(e.Drain), KindLeakCheck: orNil(e.LeakCheck), KindProof: orNil(e.Proof),
		KindHandover: orNil(e.Handover), KindAnswer: orNil(e.Answer), KindCorrection: orNil(e.Correction),
		KindTransfer: orNil(e.Transfer), KindRetirement: orNil(e.Retirement), KindSetting: orNil(e.Setting),
		KindWeighing: orNil(e.Weighing), KindStep: orNil(e.Step), KindClean: orNil(e.Clean),
		KindReturn: orNil(e.Return), KindSwap: orNil(e.Swap), KindCall: orNil(e.Call), KindLog: orNil(e.TemperatureLog),
		KindWork: orNil(e.Work),
	}
}

// orNil keeps a nil pointer from becoming a non-nil interface.
func orNil[P interface {
	payload
	*T
}, T any](p P) payload {
	if p == nil {
		return nil
	}
	return p
}

// Validate returns all that is wrong with the entry, joined: a kind that does
// not exist, a payload missing or of another kind, or figures out of range.
func (e Entry) Validate() error {
	var p problems
	p.add(oneOf("kind", e.Kind, EntryKinds()...))
	p.add(e.Day.validate("day"))
	p.add(requireText("by", e.By, 100))
	p.add(checkText("note", e.Note, 4000, true))
	if e.Kind == KindNote && strings.TrimSpace(e.Note) == "" {
		p.add(invalid("note", e.Note, "some text"))
	}
	p.add(checkText("key", e.Key, 100, false))
	if e.Judged != nil {
		p.add(e.Judged.validate())
	}
	for kind, body := range e.payloads() {
		switch {
		case body == nil && kind == KindClean: // all in its note
		case body == nil && kind == e.Kind:
			p.add(invalid("kind", string(kind), "an entry of this kind with its details"))
		case body != nil && kind != e.Kind:
			p.add(invalid("kind", string(e.Kind), "no details of another kind; this has those of "+string(kind)))
		case body != nil:
			p.add(body.validate())
		}
	}
	return p.err()
}
