// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"os"

	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
)

// Open opens the store at path, creating it (mode 0600) where there is none.
// A file of an older schema is migrated after a backup copy was made beside
// it. Open returns an error that matches loops.ErrInUse, ErrNewer, ErrForeign
// or ErrDamaged where that is the reason, and never leaves a file half made.
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
	return &Store{path: path, kept: kept, own: own}, nil
}

// openEngine opens what is at path, and makes a store of the schema where there
// is nothing. Where another process was faster, its store stands.
func openEngine(path string, opts Options, schema int) (engine.Engine, error) {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) && !opts.ReadOnly {
		err := createEngine(path, func(kept engine.Engine) error {
			return kept.Update(func(tx engine.Writer) error { return initialise(tx, schema) })
		})
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

// createEngine makes a store that holds what fill writes, or none.
func createEngine(path string, fill func(engine.Engine) error) error {
	return bolt.Create(path, fill)
}
