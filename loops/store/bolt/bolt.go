// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package bolt keeps the store's bytes in one bbolt file: the engine of a single
// bench, with no server and nothing to set up.
//
// Main type: [File], opened with [Open] or made with [Create]. One process at a
// time owns the file.
package bolt

import (
	"errors"
	"fmt"
	"runtime/debug"
	"sync"

	"go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// File is an open bbolt file as package engine has it.
type File struct {
	path string // what errors call it
	opts engine.Options

	// mu is held for reading by every transaction and for writing only while
	// compaction swaps the file.
	mu sync.RWMutex
	db *bbolt.DB
	id identity // of the file behind db
}

// View runs fn in a read transaction.
func (f *File) View(fn func(engine.Reader) error) error {
	return f.read(func(tx Tx) error { return fn(tx) })
}

// read is [File.View] with what only a file has.
func (f *File) read(fn func(Tx) error) error {
	f.mu.RLock()
	defer f.mu.RUnlock()
	return guard(f.path, func() error {
		return f.db.View(func(tx *bbolt.Tx) error { return fn(Tx{tx, f.path}) })
	})
}

// Update runs fn in a write transaction, one after the other, which is on the disk,
// and in the file that the path leads to, when Update returns nil.
func (f *File) Update(fn func(engine.Writer) error) error {
	if f.opts.ReadOnly {
		return loops.ErrReadOnly
	}
	f.mu.RLock()
	defer f.mu.RUnlock()
	if err := f.id.at(f.path); err != nil {
		return err
	}
	err := guard(f.path, func() error {
		return f.db.Update(func(tx *bbolt.Tx) error { return fn(Tx{tx, f.path}) })
	})
	if err != nil {
		return named(err)
	}
	return f.id.at(f.path) // before anybody is told that it is kept
}

// InPlace gives [loops.ErrGone] where the path leads to another file, or to none.
func (f *File) InPlace() error {
	f.mu.RLock()
	defer f.mu.RUnlock()
	return f.id.at(f.path)
}

// Check follows the pages, lets read look at keys and values, and runs bbolt's own
// check. That looks at the list of free pages, which is only still while no one
// else writes: so in a write transaction, given up afterwards, where the file can
// be written.
func (f *File) Check(read func(engine.Reader) error, found func(error)) error {
	err := f.read(func(tx Tx) error {
		if err := tx.checkPages(true); err != nil {
			return err
		}
		return read(tx)
	})
	if err != nil {
		return err
	}
	f.mu.RLock()
	defer f.mu.RUnlock()
	return guard(f.path, func() error {
		tx, err := f.db.Begin(!f.opts.ReadOnly)
		if err != nil {
			return err
		}
		defer tx.Rollback() // also where found panics; a second one does nothing
		for err := range tx.Check() {
			found(err)
		}
		return tx.Rollback()
	})
}

// Close waits for running transactions and lets go of the file.
func (f *File) Close() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.db.Close()
}

// DB is bbolt's own handle, for measuring what this package adds to it. After a
// compaction it is another one.
func (f *File) DB() *bbolt.DB { return f.db }

// bothRoots commits nothing twice, so that both root pages know of all that was
// written: with the older one damaged or taken, a new file would be empty.
func bothRoots(db *bbolt.DB) error {
	nothing := func(*bbolt.Tx) error { return nil }
	return errors.Join(db.Update(nothing), db.Update(nothing))
}

// guard runs fn and turns what bbolt does on a damaged page, a panic or a
// fault of the memory map, into an error that matches [loops.ErrDamaged].
func guard(path string, fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if cause := recover(); cause != nil {
			err = fmt.Errorf("%s: %w (%v)", path, loops.ErrDamaged, cause)
		}
	}()
	return fn()
}
