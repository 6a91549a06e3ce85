// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"os"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"fillmark/loops"
	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
)

// Open opens the store at path, creating it (mode 0600) where there is none.
// A file of an older schema is migrated after a backup copy was made beside
// it. Open returns an error that matches [ErrInUse], [ErrNewer], [ErrForeign]
// or [loops.ErrDamaged] where that is the reason, and never leaves a file half made.
func Open(path string, opts Options) (*Store, error) {
	return openWith(path, opts, migrations())
}

// openWith is [Open] with the list of migrations given.
func openWith(path string, opts Options, list []migration) (*Store, error) {
	if opts.Timeout == 0 {
		opts.Timeout = time.Second
	}
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) && !opts.ReadOnly {
		if err := create(path, len(list)+1); err != nil {
			return nil, fmt.Errorf("store: create %s: %w", path, err)
		}
	}
	var id fileIdentity
	db, err := openFile(path, opts, &id)
	if err != nil {
		return nil, err
	}
	if err := prepare(db, path, opts, list); err != nil {
		return nil, errors.Join(fmt.Errorf("store: open %s: %w", path, err), db.Close())
	}
	own, err := ownID(db, path, opts)
	if err == nil && !opts.ReadOnly {
		err = removeLeftovers(path)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("store: open: %w", err), db.Close())
	}
	return &Store{path: path, opts: opts, db: db, id: id, own: own}, nil
}

// create makes a complete empty store, so that a kill at any point leaves
// either none or a whole one. Where another process was faster, its store
// stands.
func create(path string, schema int) error {
	err := writeNew(path, func(temp *os.File) error {
		db, err := bbolt.Open(temp.Name(), 0o600, nil)
		if err != nil {
			return err
		}
		err = bolt.New(path, db).Update(func(tx engine.Writer) error { return initialise(tx, schema) })
		if err == nil {
			err = bothRoots(db)
		}
		return errors.Join(err, db.Close())
	})
	if _, missing := os.Stat(path); err != nil && missing == nil {
		return nil
	}
	return err
}

// bothRoots commits nothing twice, so that both root pages know of all that was
// written: with the older one damaged or taken, a new file would be empty.
func bothRoots(db *bbolt.DB) error {
	nothing := func(*bbolt.Tx) error { return nil }
	return errors.Join(db.Update(nothing), db.Update(nothing))
}

// openFile opens the bbolt file after a look that cannot write to it, and puts
// down which file it is.
func openFile(path string, opts Options, id *fileIdentity) (*bbolt.DB, error) {
	if err := notCutOff(path, opts.Timeout); err != nil {
		return nil, err
	}
	var db *bbolt.DB
	err := bolt.Guard(path, func() (err error) {
		db, err = bbolt.Open(path, 0o600, &bbolt.Options{
			Timeout:         opts.Timeout,
			ReadOnly:        opts.ReadOnly,
			MaxSize:         opts.MaxSize,
			FreelistType:    bbolt.FreelistMapType,
			PreLoadFreelist: true,
			OpenFile:        id.open,
		})
		return err
	})
	return db, openError(path, err)
}

// notCutOff refuses a file that is shorter than its own table of pages says:
// bbolt would read past its end, where the memory map faults.
func notCutOff(path string, timeout time.Duration) error {
	info, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("store: %w", err)
	}
	if info.Size() == 0 {
		return fmt.Errorf("%s: %w: the file is empty", path, loops.ErrDamaged)
	}
	return openError(path, bolt.Guard(path, func() error {
		db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: timeout, ReadOnly: true})
		if err != nil {
			return err
		}
		err = db.View(func(tx *bbolt.Tx) error {
			// Again, now that no one can write.
			if info, err = os.Stat(path); err != nil {
				return err
			}
			if info.Size() < tx.Size() {
				return fmt.Errorf("%s: %w: it is cut off after %d of %d bytes", path, loops.ErrDamaged, info.Size(), tx.Size())
			}
			return nil
		})
		return errors.Join(err, db.Close())
	}))
}

// openError says in our words why bbolt did not open the file.
func openError(path string, err error) error {
	var system *os.PathError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, berrors.ErrTimeout):
		return fmt.Errorf("%s: %w%s", path, ErrInUse, holder(path))
	case errors.Is(err, loops.ErrDamaged), errors.As(err, &system):
		return fmt.Errorf("store: open: %w", err)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrVersionMismatch):
		return fmt.Errorf("%s: %w (%v)", path, ErrForeign, err)
	}
	return fmt.Errorf("%s: %w (%v)", path, loops.ErrDamaged, err)
}
