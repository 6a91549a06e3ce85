// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package doctor

import (
	"time"

	"fillmark/loops"
	"fillmark/notify"
)

// Facts are what the checks judge. Whoever gathers them says what could not be
// found out in the Fault beside it; faults are sentences without a full stop.
type Facts struct {
	At   time.Time
	Zone *time.Location

	// Daemon tells that it is the daemon that looks.
	Daemon bool
	// Leads is the daemon that does what must happen once, where it is another one.
	Leads string

	Register struct {
		Path string
		// Missing tells that there is none yet, which is no fault.
		Missing bool
		Fault   string // why it cannot be read
		// Database tells that it is in one, and Away that this does not answer.
		Database, Away bool
		// Moved says that the file of the name is not the one that is open.
		Moved string
		// ReadOnly tells that it could be opened for reading alone.
		ReadOnly bool
	}
	// Newest is the latest instant on record.
	Newest time.Time

	Disks []Disk
	// Full is why the last sweep could put nothing down for want of room.
	Full string
	// Exposed are files that others may use, or that cannot be used; each with what
	// is wrong.
	Exposed []Exposed
	// Looked counts the files and folders whose rights were looked at; 0 where the
	// system has none.
	Looked int

	// Zones are those on record, and BadZones those that this computer does not
	// know, or knows wrongly.
	Zones    int
	BadZones []string

	// Relay tells that mail goes out by a relay, Trial that the relay is one that
	// reaches nobody.
	Relay, Trial bool
	// Sender and Links say why mail.from and base_url cannot be used.
	Sender, Links string
	// WithoutLinks says that letters have no links, and how owners answer; empty
	// where they have them.
	WithoutLinks  string
	From, BaseURL string
	// MailFiles says what is wrong with templates, key or password.
	MailFiles string

	Certificate struct {
		There bool
		// Own tells that what ends is the workshop's own authority, which phones trust.
		Own   bool
		Fault string
		Ends  time.Time // the zero time: made at the start
		// Served is when the one ends that the daemon holds; zero where it holds none.
		Served time.Time
	}

	// Resolver is who was asked; Signed tells that mail is signed.
	Resolver string
	Signed   bool
	Records  []notify.CheckedRecord

	// Sweep says that sweeps do not come in time, Mail that none leaves.
	Sweep, Mail string
	// Held counts letters that wait for a person.
	Held int
	// GivenUp is how many addresses were given up on the day with the most, of
	// those of the last 30 days.
	GivenUp   int
	GivenUpOn loops.Day
	// Unmailable are owners whose addresses few relays take.
	Unmailable []loops.OwnerID

	// Bounces is the folder of mail that came back; empty: none.
	Bounces      string
	BouncesFault string

	Mailbox struct {
		Name  string // empty: none is read
		Asked bool
		Fault string // why it cannot be read
	}

	// Canary is the letter to ourselves that shows that mail arrives.
	Canary struct {
		Set  bool
		Last time.Time // when the newest that came was written; zero before the first
		// Fault says that one does not come.
		Fault string
	}

	Backup Backup
}

// Disk is room where something is written.
type Disk struct {
	Place string // what for
	Path  string
	Free  uint64 // bytes
	Need  uint64 // bytes
	Fault string
}

// Exposed is a file whose rights are wrong.
type Exposed struct{ Fault, Do string }

// Backup is how the backups by schedule stand.
type Backup struct {
	Folder, SecondFolder string // empty: none
	Encrypted            bool
	loops.Backups
	// Due is when the next was to be made; zero where none was made yet.
	Due time.Time
}
