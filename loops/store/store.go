// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package store keeps every record of package loops in one bbolt file and
// never loses an acknowledged write.
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
// Callers may match [ErrInUse], [ErrNewer], [ErrForeign], [ErrReadOnly], and of
// package loops ErrNotFound, ErrConflict, ErrRepeated, ErrTagTaken, ErrFull,
// ErrDamaged and ErrGone.
package store

import (
	"errors"
	"sync"
	"time"

	"go.etcd.io/bbolt"

	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
)

// ErrInUse says that another process holds the store.
var ErrInUse = errors.New("store is in use by another process")

// ErrNewer says that a later version of the program wrote the file.
var ErrNewer = errors.New("the store was written by a newer version of Fillmark; update the program, or restore a backup made with this one")

// ErrForeign says that the file is none of Fillmark's.
var ErrForeign = errors.New("the file is not a Fillmark store")

// ErrReadOnly says that the store was opened for reading alone.
var ErrReadOnly = errors.New("the register is open for reading alone: its medium or its rights do not let it be written to")

// Options are what [Open] may be told. The zero value is right for the daemon.
type Options struct {
	// Timeout is how long to wait for another process to let go of the file;
	// zero means one second.
	Timeout time.Duration
	// ReadOnly opens an existing file without ever writing to it.
	ReadOnly bool
	// MaxSize is the size in bytes past which the file may not grow; zero is
	// no limit. A write that would pass it fails and changes nothing.
	MaxSize int
}

// Store is an open store file.
type Store struct {
	path string
	opts Options

	// mu is held for reading by every transaction and for writing only while
	// compaction swaps the file.
	mu sync.RWMutex
	db *bbolt.DB
	id fileIdentity // of the file behind db

	own string // see [Store.ID]
}

// Path returns the path that the store was opened with.
func (s *Store) Path() string { return s.path }

// Close waits for running transactions and lets go of the file.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.db.Close()
}

// engine keeps the bytes. It is another one after a compaction.
func (s *Store) engine() bolt.Engine { return bolt.New(s.path, s.db) }

// view runs fn in a read transaction. Nothing that the engine hands out may
// leave fn: decode or copy.
func (s *Store) view(fn func(engine.Reader) error) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.engine().View(fn)
}

// update runs fn in a write transaction, which is on the disk, and in the file
// that the path leads to, when update returns nil.
func (s *Store) update(fn func(engine.Writer) error) error {
	if s.opts.ReadOnly {
		return ErrReadOnly
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	if err := s.id.at(s.path); err != nil {
		return err
	}
	if err := named(s.engine().Update(fn)); err != nil {
		return err
	}
	return s.id.at(s.path) // before anybody is told that it is kept
}

// InPlace tells whether the store's file is still where it was opened:
// loops.ErrGone where it was removed, or another took its place.
func (s *Store) InPlace() error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.id.at(s.path)
}
