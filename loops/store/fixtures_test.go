// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/loops/store"
)

// noon is an instant with a fraction that no key keeps.
var noon = time.Date(2026, time.December, 3, 12, 0, 0, 500, time.UTC)

// place gives a path or an address at which nothing is yet. A test that takes one
// holds for a store in a file as for one in a database.
type place func(t testing.TB) string

// files is the place of stores in files.
func files(t testing.TB) string { return filepath.Join(t.TempDir(), "shop.fillmark") }

func open(t testing.TB) *store.Store { return place(files).open(t) }

// open opens a new store there.
func (fresh place) open(t testing.TB) *store.Store {
	t.Helper()
	s, err := store.Open(fresh(t), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

// sound fails the test unless the store's check finds nothing.
func sound(t testing.TB, s *store.Store) {
	t.Helper()
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	require.Empty(t, report.Problems)
}

func change(action string) loops.Change {
	return loops.Change{At: noon, By: "local:test", Action: action}
}

// tag makes the n-th of a row of tags.
func tag(n uint64) loops.Tag { return loops.Tag(fmt.Sprintf("%06X", n)) }

func fillEntry(loop loops.LoopID, id loops.EntryID, day loops.Day) loops.Entry {
	mass := chemistry.MassFraction(0.35)
	return loops.Entry{
		ID: id, Loop: loop, Recorded: noon, Day: day, By: "local:test", Kind: loops.KindFill, Note: "filled & bled",
		Fill: &loops.Fill{Charge: loops.Charge{
			Fluid: chemistry.PropyleneGlycol, Mass: &mass, MassUncertainty: 0.01, Volume: 0.6,
			Origin: loops.WorkshopFill, FilledFrom: day, FilledTo: day,
		}},
	}
}

func aPlan(due loops.Day) loops.Plan {
	return loops.Plan{PolicyVersion: "test", Tasks: []loops.Task{{
		Kind: loops.Look, Due: due,
		Clauses: []loops.Clause{{Kind: loops.ByInterval, Day: due, Text: "every six months", Source: "the test", Grade: "none"}},
	}}}
}

// workshop is an owner with a machine with a filled loop that has a plan, in
// one change, with the ids the store handed out.
func workshop(t testing.TB, s *store.Store) loops.Change {
	t.Helper()
	c, err := nextWorkshop(s)
	require.NoError(t, err)
	return c
}

func nextWorkshop(s *store.Store) (loops.Change, error) {
	owner, err := s.NewOwnerID()
	if err != nil {
		return loops.Change{}, err
	}
	machine, err := s.NewMachineID()
	if err != nil {
		return loops.Change{}, err
	}
	loop, err := s.NewLoopID()
	if err != nil {
		return loops.Change{}, err
	}
	day := loops.Day{Year: 2026, Month: time.December, Dom: 3}
	c := change("register")
	c.Owners = []loops.Owner{{ID: owner, Name: "Ana Fern", Email: "ana@garden.example", Zone: "Europe/Lisbon", Consent: loops.Consent{Mail: true}}}
	c.Machines = []loops.Machine{{ID: machine, Owner: owner, Kind: loops.Desktop, Name: "the grey tower", Accessories: []string{"power lead"}}}
	entry := fillEntry(loop, 1, day)
	l := loops.Loop{
		ID: loop, Machine: machine, Tag: tag(uint64(loop)), LastEntry: 1,
		Construction: loops.Construction{Sealed: true, Volume: 0.6, Wetted: []loops.WettedPart{{Part: "cold plate", Metal: "copper"}}},
		State:        loops.Fold([]loops.Entry{entry}),
		Plan:         aPlan(day.AddMonths(6)),
	}
	c.Loops, c.Entries = []loops.Loop{l}, []loops.Entry{entry}
	return c, nil
}

// aMessage is a queued reminder to the owner.
func aMessage(owner loops.OwnerID, day loops.Day, next time.Time) loops.Message {
	return loops.Message{
		Key: loops.NewMessageKey(owner, day, loops.PurposeReminder, ""), Owner: owner, Purpose: loops.PurposeReminder,
		From: "bench@workshop.example", To: "ana@garden.example", Subject: "A look at the grey tower",
		Raw: []byte("Subject: A look\r\n\r\nPlease look.\r\n"), Created: noon,
		PointlessAfter: noon.AddDate(0, 0, 7), Status: loops.Queued, NextAttempt: next,
	}
}

func errIsAny(err error, targets ...error) bool {
	for _, target := range targets {
		if errors.Is(err, target) {
			return true
		}
	}
	return false
}

// content is all that a store holds: its file, or its export where it has none.
func content(t testing.TB, s *store.Store) []byte {
	t.Helper()
	if store.InDatabase(s.Path()) {
		return exportOf(t, s)
	}
	file, err := os.ReadFile(s.Path())
	require.NoError(t, err)
	return file
}

// closedCopy is the store's file itself, byte for byte, which no one holds.
func closedCopy(t testing.TB, s *store.Store) string {
	t.Helper()
	content, err := os.ReadFile(s.Path())
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "copy")
	require.NoError(t, os.WriteFile(path, content, 0o600))
	return path
}
