// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "time"

// Alarm is a part of its work that the program cannot do.
type Alarm struct {
	// Name is the part in a word or two, such as mail.
	Name string `json:"name"`
	// Reason says in sentences what cannot be done, and why; Remedy what to do
	// about it. Neither names an owner.
	Reason string    `json:"reason"`
	Remedy string    `json:"remedy"`
	Since  time.Time `json:"since"`
}

// AlarmBook is what is on record of alarms and of who was told of them, so that
// a start forgets none and tells none twice.
type AlarmBook struct {
	Alarms []AlarmLine `json:"alarms"`
	Ways   []AlarmWay  `json:"ways"`
}

// AlarmLine is an alarm, and which ways told of it.
type AlarmLine struct {
	Alarm
	// Ended is when the work could be done again; zero while it cannot.
	Ended time.Time `json:"ended,omitzero"`
	// Told is when each way told last that it is red, Over which told that it
	// has ended.
	Told map[string]time.Time `json:"told,omitempty"`
	Over map[string]bool      `json:"over,omitempty"`
}

// AlarmWay is a way to tell people that is not mail.
type AlarmWay struct {
	Name  string    `json:"name"`
	Where string    `json:"where"`          // a hash of where it leads: another place is told from the beginning
	Tried time.Time `json:"tried,omitzero"` // when it was used last
	Told  time.Time `json:"told,omitzero"`  // when it last worked
	// Failing is since when it does not work, zero while it does; Fault is why.
	Failing time.Time `json:"failing,omitzero"`
	Fault   string    `json:"fault,omitempty"`
}
