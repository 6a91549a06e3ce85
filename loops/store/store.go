// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package store keeps every record of package loops in one file, or in one table of a
// database, and never loses an acknowledged write.
//
// Main types: [Store], opened with [Open]; [Store.Commit] writes one
// [loops.Change] in one transaction or not at all; [Store.Check] looks at
// every record and every index. The mail a change causes waits in the outbox,
// which the Mark methods move on, one transaction each.
//
// A value in the file is a CRC32C and strict JSON of a versioned struct, a key
// is fixed width so that byte order is reading order. Quantities keep the
// units of package loops; instants are kept in UTC. A Store is safe for
// concurrent use by many goroutines, and one process at a time owns the file.
//
// Callers may match of package loops ErrInUse, ErrNewer, ErrForeign, ErrReadOnly,
// ErrNotFound, ErrConflict, ErrRepeated, ErrTagTaken, ErrFull, ErrDamaged,
// ErrGone and ErrAway.
package store

import (
	"errors"
	"sync/atomic"

	"fillmark/loops/store/engine"
)

// ErrNoFile says that what is kept elsewhere than in a file cannot be handled as one.
var ErrNoFile = errors.New("the register is not kept in a file: its database copies and compacts it with its own tools, and export writes it out")

// Options are what [Open] may be told. The zero value is right for the daemon.
type Options = engine.Options

// Store is an open store.
type Store struct {
	path    string
	kept    engine.Engine
	own     string // see [Store.ID]
	touched *touches
	// lead is the number under which it is written to; nil where nobody leads.
	lead *atomic.Uint64
}

// Path returns the path that the store was opened with.
func (s *Store) Path() string { return s.path }

// Close waits for running transactions and lets go of the file.
func (s *Store) Close() error { return s.kept.Close() }

// view runs fn in a read transaction. Nothing that the engine hands out may
// leave fn: decode or copy.
func (s *Store) view(fn func(engine.Reader) error) error { return s.kept.View(fn) }

// file is the engine where it keeps a file.
func (s *Store) file() (engine.File, error) {
	if f, ok := s.kept.(engine.File); ok {
		return f, nil
	}
	return nil, ErrNoFile
}

// InPlace tells whether the store's file is still where it was opened:
// loops.ErrGone where it was removed, or another took its place.
func (s *Store) InPlace() error {
	if f, err := s.file(); err == nil {
		return f.InPlace()
	}
	return nil // no file, and none that could go
}
