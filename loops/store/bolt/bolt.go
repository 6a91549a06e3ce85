// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package bolt keeps the store's bytes in one bbolt file: the engine of a single
// bench, with no server and nothing to set up.
package bolt

import (
	"fmt"
	"runtime/debug"

	"go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Engine is an open bbolt file as package engine has it.
type Engine struct {
	path string
	db   *bbolt.DB
}

// New is the engine over an open file; path is what errors call it.
func New(path string, db *bbolt.DB) Engine { return Engine{path, db} }

// View runs fn in a read transaction.
func (e Engine) View(fn func(engine.Reader) error) error {
	return e.Read(func(tx Tx) error { return fn(tx) })
}

// Read is [Engine.View] with what only a file has.
func (e Engine) Read(fn func(Tx) error) error {
	return Guard(e.path, func() error {
		return e.db.View(func(tx *bbolt.Tx) error { return fn(Tx{tx, e.path}) })
	})
}

// Update runs fn in a write transaction, one after the other.
func (e Engine) Update(fn func(engine.Writer) error) error {
	return Guard(e.path, func() error {
		return e.db.Update(func(tx *bbolt.Tx) error { return fn(Tx{tx, e.path}) })
	})
}

// Close waits for running transactions and lets go of the file.
func (e Engine) Close() error { return e.db.Close() }

// Guard runs fn and turns what bbolt does on a damaged page, a panic or a
// fault of the memory map, into an error that matches [loops.ErrDamaged].
func Guard(path string, fn func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if cause := recover(); cause != nil {
			err = fmt.Errorf("%s: %w (%v)", path, loops.ErrDamaged, cause)
		}
	}()
	return fn()
}
