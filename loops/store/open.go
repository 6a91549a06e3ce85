// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"fillmark/loops"
	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
	"fillmark/loops/store/postgres"
)

// Open opens the store at path, creating it (mode 0600) where there is none.
// A file of an older schema is migrated after a backup copy was made beside
// it. A path that begins with postgres:// is the address of a database, where the
// store is one table. Open returns an error that matches loops.ErrInUse, ErrNewer,
// ErrForeign, ErrDamaged or ErrAway where that is the reason, and never leaves a
// store half made.
func Open(path string, opts Options) (*Store, error) {
	return openWith(path, opts, migrations())
}

// openWith is [Open] with the list of migrations given.
func openWith(path string, opts Options, list []migration) (*Store, error) {
	kept, err := openEngine(path, opts, len(list)+1)
	if err != nil {
		return nil, err
	}
	if err := prepare(kept, path, opts, list); err != nil {
		return nil, errors.Join(fmt.Errorf("store: open %s: %w", path, err), kept.Close())
	}
	own, err := ownID(kept, opts)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("store: open: %w", err), kept.Close())
	}
	return &Store{path: path, kept: kept, own: own, touched: &touches{}}, nil
}

// InDatabase tells the address of a database from a path.
func InDatabase(path string) bool {
	return strings.HasPrefix(path, "postgres://") || strings.HasPrefix(path, "postgresql://")
}

// CheckAddress tells what is wrong with the address of a database, see
// [postgres.CheckAddress].
func CheckAddress(address string) error { return postgres.CheckAddress(address) }

// PasswordFile is the file with the password that an address names; empty where it
// names none, and for a path.
func PasswordFile(path string) string {
	if !InDatabase(path) {
		return ""
	}
	return postgres.PasswordFile(path)
}

// There tells whether there is a store at path. What else is wrong with a file says
// whoever opens it; a database is asked, and may be away.
func There(path string) (bool, error) {
	if !InDatabase(path) {
		_, err := os.Lstat(path)
		return !errors.Is(err, fs.ErrNotExist), nil
	}
	kept, err := postgres.Open(path, Options{ReadOnly: true})
	if errors.Is(err, fs.ErrNotExist) && !errors.Is(err, loops.ErrAway) { // a socket that is gone does not exist either
		return false, nil
	}
	if err != nil {
		return false, err
	}
	empty := true
	err = kept.View(func(tx engine.Reader) error {
		empty = len(tx.Buckets()) == 0
		return nil
	})
	return !empty, errors.Join(err, kept.Close())
}

// openEngine opens what is at path, and makes a store of the schema where there
// is nothing. Where another process was faster, its store stands.
func openEngine(path string, opts Options, schema int) (engine.Engine, error) {
	first := func(tx engine.Writer) error { return initialise(tx, schema) }
	if InDatabase(path) {
		return openDatabase(path, opts, first)
	}
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) && !opts.ReadOnly {
		err := bolt.Create(path, func(kept engine.Engine) error { return kept.Update(first) })
		if _, missing := os.Stat(path); err != nil && missing != nil {
			return nil, fmt.Errorf("store: create %s: %w", path, err)
		}
	}
	kept, err := bolt.Open(path, opts)
	if err != nil {
		return nil, err // no engine, rather than one that is nil
	}
	return kept, nil
}

// openDatabase opens a table, and has first write to it where it is empty.
func openDatabase(address string, opts Options, first func(engine.Writer) error) (engine.Engine, error) {
	kept, err := postgres.Open(address, opts)
	if err != nil {
		return nil, err
	}
	empty := false
	err = kept.View(func(tx engine.Reader) error {
		empty = len(tx.Buckets()) == 0
		return nil
	})
	if err == nil && empty && !opts.ReadOnly {
		err = kept.Update(func(tx engine.Writer) error {
			if len(tx.Buckets()) > 0 {
				return nil
			}
			return first(tx)
		})
	}
	if err != nil {
		return nil, errors.Join(err, kept.Close())
	}
	return kept, nil
}

// createEngine makes a store that holds what fill writes, or none. It never
// replaces: where there is one, the error matches os.ErrExist.
func createEngine(path string, fill func(engine.Engine) error) error {
	if !InDatabase(path) {
		return bolt.Create(path, fill)
	}
	kept, err := postgres.Open(path, Options{})
	if err != nil {
		return err
	}
	begun := false
	err = kept.Update(func(tx engine.Writer) error {
		switch {
		case begun:
			return errors.New("the line to the database was lost, and nothing was kept: begin once more")
		case len(tx.Buckets()) > 0:
			return fmt.Errorf("%s: %w", path, os.ErrExist)
		}
		begun = true
		return fill(inside{tx})
	})
	return errors.Join(err, kept.Close())
}

// inside is an engine all of whose transactions are one, which somebody else ends.
type inside struct{ tx engine.Writer }

func (i inside) View(fn func(engine.Reader) error) error   { return fn(i.tx) }
func (i inside) Update(fn func(engine.Writer) error) error { return fn(i.tx) }
func (i inside) Close() error                              { return nil }
