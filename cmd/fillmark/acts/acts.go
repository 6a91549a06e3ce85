// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package acts defines what people do to loops: each act once, with its fields,
// what speaks against it and what it changes.
//
// An [Act] is a plain struct in a file of its own, with a hand-written list of
// its fields beside it. [All] lists the [Definition] of each; commands, the JSON
// API, pages, tables and the reference in doc/ are made from those by one
// adapter each. Judge and Apply are ordinary functions of a [Snapshot], the act
// and the day. [Settle] is the one gate: it turns the reasons into a verdict,
// or into a [StopError] that says the way out.
//
// Everything here is pure: no I/O, no clock, no randomness. The rules
// themselves live in chemistry, inspection and schedule; acts ask them.
// Quantities are chemistry's types. Callers may match [*loops.InvalidError] and
// [*StopError].
package acts

import (
	"slices"

	"fillmark/loops"
)

// Act is something done to a loop that its history tells.
type Act interface {
	// Check returns what is impossible: values that cannot be, and acts that the
	// loop's record does not admit on any day.
	Check(s Snapshot, today loops.Day) error
	// Judge returns what speaks against the act by what the snapshot knows.
	Judge(s Snapshot, today loops.Day) []Reason
	// Apply returns what the act writes: its entry, without the number that the
	// register gives it, and the records that it changes.
	Apply(s Snapshot, today loops.Day) loops.Change

	// Containers are those of the shelf that it draws from.
	Containers() []loops.ContainerID

	doing() *Doing
}

// Doing is what every act says beside its own fields. An act for which nothing is
// impossible, against which nothing speaks or which draws nothing from the shelf
// has what Doing answers to that.
type Doing struct {
	// Day it happened; zero reads as today.
	Day  loops.Day
	Note string
	// Already tells that it has happened: it is recorded whatever speaks against
	// it, with its verdict. Otherwise it is about to be done, and a stop refuses.
	Already bool
	// Overrule sets rules aside by name, where they allow it.
	Overrule []loops.Overrule
	// Key was made before the act was sent, so that the same act sent twice is
	// one entry; empty where the sender made none.
	Key string
}

func (d *Doing) doing() *Doing { return d }

// Check admits any.
func (d *Doing) Check(Snapshot, loops.Day) error { return nil }

// Judge finds nothing.
func (d *Doing) Judge(Snapshot, loops.Day) []Reason { return nil }

// Containers is none.
func (d *Doing) Containers() []loops.ContainerID { return nil }

// KeyOf returns the key that the act was sent with; empty for none.
func KeyOf(a Act) string { return a.doing().Key }

// SetKey gives an act the key that it is sent with.
func SetKey(a Act, key string) { a.doing().Key = key }

// writes is the change that writes the act's entry, completed by what all acts
// say.
func (d *Doing) writes(e loops.Entry, today loops.Day) loops.Change {
	e.Day, e.Note, e.Key = d.on(today), d.Note, d.Key
	return loops.Change{Entries: []loops.Entry{e}}
}

// on is the day of the act.
func (d *Doing) on(today loops.Day) loops.Day {
	if d.Day.IsZero() {
		return today
	}
	return d.Day
}

// Snapshot is what the register knows of a loop at the moment of an act.
type Snapshot struct {
	Loop    loops.Loop
	Machine loops.Machine
	// Owner is the zero value for a donor unit.
	Owner   loops.Owner
	History []loops.Entry
	// Containers are those of the shelf that the act draws from.
	Containers []loops.Container
	// Beside are the other loops of the machine, where the act lets it go.
	Beside []loops.Loop
}

// On is the state of the loop at the end of a day, by what stands in its
// history now: an entry may be recorded late.
func (s Snapshot) On(day loops.Day) loops.State { return loops.Fold(s.until(day)) }

// until is the history up to the end of a day, with every correction: what was
// struck out later never counted.
func (s Snapshot) until(day loops.Day) []loops.Entry {
	return slices.DeleteFunc(slices.Clone(s.History), func(e loops.Entry) bool {
		return e.Day.After(day) && e.Kind != loops.KindCorrection
	})
}

// with is the snapshot with what an act writes into the history.
func (s Snapshot) with(a Act, today loops.Day) Snapshot {
	s.History = slices.Clone(s.History)
	for i, e := range a.Apply(s, today).Entries {
		e.ID = s.Loop.LastEntry + loops.EntryID(i+1)
		s.History = append(s.History, e)
	}
	return s
}

// container finds one that the act draws from.
func (s Snapshot) container(id loops.ContainerID) (loops.Container, bool) {
	i := slices.IndexFunc(s.Containers, func(c loops.Container) bool { return c.ID == id })
	if i < 0 {
		return loops.Container{}, false
	}
	return s.Containers[i], true
}

// wrong names a field, its value and what would be right.
func wrong(field, value, right string) error {
	return &loops.InvalidError{Field: field, Value: value, Reason: right}
}
