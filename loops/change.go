// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "time"

// Change is everything that one action writes, as plain data: the store
// commits all of it in one transaction or nothing.
//
// Records carry the id they were given by the store's id counters and the
// revision that was read; revision zero says "new". The store raises revisions
// and refuses stale ones with [ErrConflict], entries that do not continue
// their loop's history, and message keys that exist with
// [ErrRepeated].
type Change struct {
	// At is the instant of the action, By who did it and Action what it was,
	// for the audit.
	At     time.Time
	By     string
	Action string

	Owners   []Owner
	Machines []Machine
	Loops    []Loop
	Entries  []Entry
	// Messages are new ones, put into the outbox where Queued.
	Messages []Message
	// Mail is the mail that the action came by; nil for any other. One that was
	// dealt with before gives [ErrRepeated].
	Mail  *MailRead
	Shelf Shelf
}

// AuditLine is one line of the audit: who did what, when, to which records.
type AuditLine struct {
	At     time.Time `json:"at"`
	By     string    `json:"by"`
	Action string    `json:"action"`
	On     string    `json:"on"`
}
