// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package workshop holds the actions of Fillmark: each reads what it needs,
// computes and renders everything, and writes one loops.Change that commits
// entirely or not at all.
//
// Main type: [Workshop], safe for concurrent use. Actions that meet a stale
// revision are tried again where nobody typed the old one. Time and identity
// come in with each call as a [Stamp]; nothing here reads a clock.
package workshop

import (
	"context"
	"io"
	"os"
	"sync"
	"time"

	"fillmark/loops"
	"fillmark/loops/findings"
	"fillmark/loops/photos"
	"fillmark/notify"
	"fillmark/notify/links"
)

// register is what the actions read from and write to the store.
type register interface {
	ID() string
	NewOwnerID() (loops.OwnerID, error)
	NewMachineID() (loops.MachineID, error)
	NewLoopID() (loops.LoopID, error)
	NewOwnerIDs(count int) (loops.OwnerID, error)
	NewMachineIDs(count int) (loops.MachineID, error)
	NewLoopIDs(count int) (loops.LoopID, error)
	Owner(loops.OwnerID) (loops.Owner, error)
	Machine(loops.MachineID) (loops.Machine, error)
	Loop(loops.LoopID) (loops.Loop, error)
	LoopByTag(loops.Tag) (loops.Loop, error)
	LoopsOf(loops.MachineID) ([]loops.Loop, error)
	LoopWith(tag loops.Tag, shelf bool) (loops.Belongings, error)
	BelongingsOf(owner loops.OwnerID, histories bool) (loops.Belongings, error)
	History(loops.LoopID) ([]loops.Entry, error)
	EntryByKey(key string) (loops.Entry, error)
	DueThrough(loops.Day) ([]loops.Due, error)
	Sent(loops.LoopID, loops.TaskKind, loops.Day) ([]loops.Sent, error)
	Message(loops.MessageKey) (loops.Message, error)
	MessageHead(loops.MessageKey) (loops.Message, error)
	MessagesTo(owner loops.OwnerID, since loops.Day) ([]loops.Message, error)
	Revision() (loops.StoreRevision, error)
	TouchedSince(loops.StoreRevision) (loops.Touched, loops.StoreRevision, bool, error)
	Uptime() (loops.Uptime, error)
	NoteUptime(at time.Time) error
	Canary() (loops.Canary, error)
	PutCanary(loops.Canary) error
	Commit(loops.Change) error
	many
	mailbox
	incoming
	lister
	shelf
	evidenceKeeper
}

// Settings is what a workshop chooses once, in its configuration.
type Settings struct {
	Name  string // of the workshop, as owners know it
	Phone string // for owners to call; may be empty
	From  string // bare address that mail comes from
	// Technician is the bare address that the morning list goes to; empty for
	// no list.
	Technician string
	// Language is that of owners who chose none; empty is English.
	Language loops.Language
	// Templates are the workshop's own; nil takes the built-in ones.
	Templates *notify.Templates
	// ReturnPath opens the envelope addresses of mail that comes back; nil where
	// mail comes back to From.
	ReturnPath *notify.ReturnPath
	// Canary is how long a letter to ourselves may take to come back before that
	// is an alarm; zero sends none. It wants a ReturnPath.
	Canary time.Duration
	// Ours says why a mail does not bear our own signature whole; nil where mail
	// is not signed.
	Ours func(raw []byte) error
	// BaseURL is where owners' links lead, without a trailing slash. Where owners
	// cannot reach it ([notify.Reachable]) no letter has a link to it, and they
	// answer by mail; ReadHere says that letters are read on this computer alone.
	BaseURL  string
	ReadHere bool
	// Zone is the workshop's, used for owners without one.
	Zone *time.Location
	// SendHour is the owner-local hour from which mail goes out, 0 to 23.
	SendHour int
	Policy   loops.Policy
	// Costs are what a look weighs against what it prevents, in any one unit; the
	// zero value takes [findings.DefaultCosts].
	Costs findings.Costs
	// Photos is where photos of openings are kept, beside the register.
	Photos photos.Folder
	// ReadPhoto turns an upload into a photo; nil reads it in this process.
	ReadPhoto func(context.Context, *os.File) (photos.Photo, error)
}

// Stamp tells when an action happens and who does it.
type Stamp struct {
	At time.Time
	By string
}

// Workshop runs the actions against one register.
type Workshop struct {
	register register
	settings Settings
	random   io.Reader // for tags
	links    links.Keys
	*memory
}

// memory is what is remembered between actions, and what keeps them apart.
type memory struct {
	decoding sync.Mutex // held while a photo is read
	acting   sync.Mutex // held while an action reads and writes, see retried
	board    dueBoard
	zones    sync.Map // of owners: from name to [*time.Location]
}

// New returns a workshop. Random is the source of tags, keys sign what
// owners click.
func New(r register, settings Settings, random io.Reader, keys links.Keys) *Workshop {
	if settings.ReadPhoto == nil {
		settings.ReadPhoto = photos.ReadFile
	}
	return &Workshop{r, settings, random, keys, &memory{}}
}

// Through is the same workshop, whose actions write to the register by other means,
// such as those that refuse what is another daemon's by now.
func (w *Workshop) Through(r register) *Workshop {
	is := *w
	is.register = r
	return &is
}

// Settings returns what the workshop was started with.
func (w *Workshop) Settings() Settings { return w.settings }

// zoneOf returns the owner's zone, or the workshop's where the owner has none
// or one that this computer no longer knows.
func (w *Workshop) zoneOf(o loops.Owner) *time.Location {
	if known, ok := w.zones.Load(o.Zone); ok {
		return known.(*time.Location)
	}
	zone, err := loops.LoadZone(o.Zone) // reads a file of the system
	if err != nil {
		zone = w.settings.Zone
	}
	w.zones.Store(o.Zone, zone)
	return zone
}
