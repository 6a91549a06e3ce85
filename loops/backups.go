// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "time"

// Backups is how the backups by schedule stand, as the register keeps it. The
// zero value is a register of which none was made.
type Backups struct {
	// Made is when the last good one was made, and Where it was put: a folder, or
	// a file where backups are encrypted.
	Made  time.Time `json:"made,omitzero"`
	Where string    `json:"where,omitempty"`
	// Drilled is when one was last restored for trial and found to be the same;
	// Lines is how many lines of the export were compared then.
	Drilled time.Time `json:"drilled,omitzero"`
	Lines   int       `json:"lines,omitempty"`
	// Second is when one last reached the second folder; zero where it never did.
	Second time.Time `json:"second,omitzero"`
	// Tried is when the last try began, whatever came of it.
	Tried time.Time `json:"tried,omitzero"`
	// The faults are what went wrong in the last try; empty where nothing did.
	Fault       string `json:"fault,omitempty"`
	DrillFault  string `json:"drill_fault,omitempty"`
	SecondFault string `json:"second_fault,omitempty"`
}
