// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"time"

	"fillmark/loops"
)

// The structs below are what stands in the file. They have the fields of the
// records in package loops in the same order, so that the conversions compile
// only while nothing was added or renamed there; a golden test holds the JSON
// of the records nested in them. A published struct is never edited: a change
// of the record brings ownerV2 and so on.

// recordV1 is the version of every record so far.
const recordV1 = 1

type ownerV1 struct {
	ID          loops.OwnerID  `json:"id"`
	Revision    uint64         `json:"revision"`
	Name        string         `json:"name"`
	Email       string         `json:"email,omitempty"`
	Phone       string         `json:"phone,omitempty"`
	Zone        string         `json:"zone,omitempty"`
	Units       loops.Units    `json:"units,omitempty"`
	Language    loops.Language `json:"language,omitempty"`
	Consent     loops.Consent  `json:"consent"`
	MailStopped loops.Day      `json:"mail_stopped,omitzero"`
	Address     string         `json:"address,omitempty"`
	LinkEpoch   uint32         `json:"link_epoch,omitempty"`
}

type machineV1 struct {
	ID            loops.MachineID   `json:"id"`
	Revision      uint64            `json:"revision"`
	Owner         loops.OwnerID     `json:"owner,omitempty"`
	Kind          loops.MachineKind `json:"kind"`
	Name          string            `json:"name"`
	Maker         string            `json:"maker,omitempty"`
	Model         string            `json:"model,omitempty"`
	Accessories   []string          `json:"accessories,omitempty"`
	WarrantyAsked bool              `json:"warranty_asked,omitempty"`
	WarrantyNote  string            `json:"warranty_note,omitempty"`
	PromisedBack  loops.Day         `json:"promised_back,omitzero"`
}

type loopV1 struct {
	ID        loops.LoopID    `json:"id"`
	Machine   loops.MachineID `json:"machine"`
	Tag       loops.Tag       `json:"tag"`
	Revision  uint64          `json:"revision"`
	LastEntry loops.EntryID   `json:"last_entry,omitempty"`
	Name      string          `json:"name,omitempty"`
	loops.Construction
	State loops.State `json:"state"`
	Plan  loops.Plan  `json:"plan"`
}

type entryV1 struct {
	ID             loops.EntryID         `json:"id"`
	Loop           loops.LoopID          `json:"loop"`
	Recorded       time.Time             `json:"recorded"`
	Day            loops.Day             `json:"day"`
	By             string                `json:"by"`
	Kind           loops.EntryKind       `json:"kind"`
	Note           string                `json:"note,omitempty"`
	Intake         *loops.Intake         `json:"intake,omitempty"`
	Inspection     *loops.Inspection     `json:"inspection,omitempty"`
	Opening        *loops.Opening        `json:"opening,omitempty"`
	Fill           *loops.Fill           `json:"fill,omitempty"`
	TopUp          *loops.TopUp          `json:"top_up,omitempty"`
	Dose           *loops.Dose           `json:"dose,omitempty"`
	Drain          *loops.Drain          `json:"drain,omitempty"`
	LeakCheck      *loops.LeakCheck      `json:"leak_check,omitempty"`
	Proof          *loops.Proof          `json:"proof,omitempty"`
	Handover       *loops.Handover       `json:"handover,omitempty"`
	Answer         *loops.Answer         `json:"answer,omitempty"`
	Correction     *loops.Correction     `json:"correction,omitempty"`
	Transfer       *loops.Transfer       `json:"transfer,omitempty"`
	Retirement     *loops.Retirement     `json:"retirement,omitempty"`
	Setting        *loops.Setting        `json:"setting,omitempty"`
	Weighing       *loops.Weighing       `json:"weighing,omitempty"`
	Step           *loops.StepDone       `json:"step,omitempty"`
	Clean          *loops.Cleaning       `json:"clean,omitempty"`
	Return         *loops.Return         `json:"return,omitempty"`
	Swap           *loops.Swap           `json:"swap,omitempty"`
	Call           *loops.OwnerCall      `json:"call,omitempty"`
	Work           *loops.Work           `json:"work,omitempty"`
	TemperatureLog *loops.TemperatureLog `json:"temperature_log,omitempty"`
	Judged         *loops.Judged         `json:"judged,omitempty"`
	Key            string                `json:"key,omitempty"`
}

// messageV1 leaves Raw out: it stands in a value of its own, so that moving a
// message on does not write its text again and old text can be deleted.
type messageV1 struct {
	Key            loops.MessageKey    `json:"key"`
	Owner          loops.OwnerID       `json:"owner,omitempty"`
	Purpose        loops.Purpose       `json:"purpose"`
	From           string              `json:"from"`
	To             string              `json:"to"`
	Subject        string              `json:"subject"`
	MessageID      string              `json:"message_id,omitempty"`
	Raw            []byte              `json:"-"`
	Created        time.Time           `json:"created"`
	PointlessAfter time.Time           `json:"pointless_after"`
	Status         loops.MessageStatus `json:"status"`
	Attempts       int                 `json:"attempts,omitempty"`
	LastAttempt    time.Time           `json:"last_attempt,omitzero"`
	NextAttempt    time.Time           `json:"next_attempt,omitzero"`
	LastError      string              `json:"last_error,omitempty"`
	Failure        string              `json:"failure,omitempty"`
	About          []loops.Topic       `json:"about,omitempty"`
	Dated          time.Time           `json:"dated,omitzero"`
	Unsure         bool                `json:"unsure,omitempty"`
	Claim          uint64              `json:"claim,omitempty"`
	Lost           int                 `json:"lost,omitempty"`
	Signature      []byte              `json:"signature,omitempty"`
	Instead        loops.MessageKey    `json:"instead,omitempty"`
	Note           string              `json:"note,omitempty"`
}

type bodyV1 struct {
	Key loops.MessageKey `json:"key"`
	Raw []byte           `json:"raw"`
}

type sentV1 struct {
	Loop    loops.LoopID     `json:"loop"`
	Task    loops.TaskKind   `json:"task"`
	Due     loops.Day        `json:"due"`
	Stage   loops.Stage      `json:"stage"`
	Message loops.MessageKey `json:"message,omitempty"`
}

type auditV1 struct {
	At     time.Time `json:"at"`
	By     string    `json:"by"`
	Action string    `json:"action"`
	On     string    `json:"on"`
}

func encodeOwner(o loops.Owner) ([]byte, error)     { return encode(recordV1, ownerV1(o)) }
func encodeMachine(m loops.Machine) ([]byte, error) { return encode(recordV1, machineV1(m)) }
func encodeLoop(l loops.Loop) ([]byte, error)       { return encode(recordV1, loopV1(l)) }
func encodeBody(b bodyV1) ([]byte, error)           { return encode(recordV1, b) }
func encodeSent(s loops.Sent) ([]byte, error)       { return encode(recordV1, sentV1(s)) }

func encodeEntry(e loops.Entry) ([]byte, error) {
	e.Recorded = e.Recorded.UTC()
	return encode(recordV1, entryV1(e))
}

func encodeMessage(m loops.Message) ([]byte, error) {
	m.Created, m.PointlessAfter = m.Created.UTC(), m.PointlessAfter.UTC()
	m.LastAttempt, m.NextAttempt, m.Dated = m.LastAttempt.UTC(), m.NextAttempt.UTC(), m.Dated.UTC()
	return encode(recordV1, messageV1(m))
}

func encodeAudit(a loops.AuditLine) ([]byte, error) {
	a.At = a.At.UTC()
	return encode(recordV1, auditV1(a))
}

func decodeOwner(stored []byte) (loops.Owner, error) {
	v, err := decode[ownerV1](recordV1, stored)
	return loops.Owner(v), err
}

func decodeMachine(stored []byte) (loops.Machine, error) {
	v, err := decode[machineV1](recordV1, stored)
	return loops.Machine(v), err
}

func decodeLoop(stored []byte) (loops.Loop, error) {
	v, err := decode[loopV1](recordV1, stored)
	return loops.Loop(v), err
}

func decodeEntry(stored []byte) (loops.Entry, error) {
	v, err := decode[entryV1](recordV1, stored)
	return loops.Entry(v), err
}

func decodeMessage(stored []byte) (loops.Message, error) {
	v, err := decode[messageV1](recordV1, stored)
	return loops.Message(v), err
}

func decodeBody(stored []byte) (bodyV1, error) { return decode[bodyV1](recordV1, stored) }

func decodeSent(stored []byte) (loops.Sent, error) {
	v, err := decode[sentV1](recordV1, stored)
	return loops.Sent(v), err
}

func decodeAudit(stored []byte) (loops.AuditLine, error) {
	v, err := decode[auditV1](recordV1, stored)
	return loops.AuditLine(v), err
}
