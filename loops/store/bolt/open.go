// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"errors"
	"fmt"
	"os"
	"time"

	"go.etcd.io/bbolt"
	berrors "go.etcd.io/bbolt/errors"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Open opens the file at path. It returns an error that matches
// [loops.ErrInUse], [loops.ErrForeign] or [loops.ErrDamaged] where that is the
// reason, and os.ErrNotExist where there is none.
func Open(path string, opts engine.Options) (*File, error) {
	return open(path, opts, Tx.checkRoots)
}

// OpenBackup opens a file for reading alone, also one of whose two root pages is
// damaged: it is then how it was before its last write.
func OpenBackup(path string) (*File, error) {
	return open(path, engine.Options{ReadOnly: true}, func(Tx) error { return nil })
}

func open(path string, opts engine.Options, roots func(Tx) error) (*File, error) {
	if opts.Timeout == 0 {
		opts.Timeout = time.Second
	}
	f := &File{path: path, opts: opts}
	if err := f.open(); err != nil {
		return nil, err
	}
	err := f.read(func(tx Tx) error {
		if err := roots(tx); err != nil {
			return err
		}
		return tx.checkPages(false)
	})
	if err == nil && !opts.ReadOnly {
		err = removeLeftovers(path)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("store: open %s: %w", path, err), f.db.Close())
	}
	return f, nil
}

// Create makes a file that holds what fill writes and that appears at path once
// it is whole, so that a kill at any point leaves either none or all of it. It
// never replaces: a file that is there gives an error that matches os.ErrExist.
func Create(path string, fill func(engine.Engine) error) error {
	return writeNew(path, func(temp *os.File) error {
		f := &File{path: temp.Name()}
		db, err := bbolt.Open(f.path, 0o600, &bbolt.Options{FreelistType: bbolt.FreelistMapType, OpenFile: f.id.open})
		if err != nil {
			return err
		}
		f.db = db
		// Until the end the file is nobody's store: one sync will do.
		db.NoSync = true
		if err := fill(f); err != nil {
			return errors.Join(err, db.Close())
		}
		db.NoSync = false
		return errors.Join(db.Sync(), bothRoots(db), db.Close())
	})
}

// open opens the bbolt file after a look that cannot write to it, and puts down
// which file it is.
func (f *File) open() error {
	if err := notCutOff(f.path, f.opts.Timeout); err != nil {
		return err
	}
	var id identity
	var db *bbolt.DB
	err := guard(f.path, func() (err error) {
		db, err = bbolt.Open(f.path, 0o600, &bbolt.Options{
			Timeout:         f.opts.Timeout,
			ReadOnly:        f.opts.ReadOnly,
			MaxSize:         f.opts.MaxSize,
			FreelistType:    bbolt.FreelistMapType,
			PreLoadFreelist: true,
			OpenFile:        id.open,
		})
		return err
	})
	if err != nil {
		return openError(f.path, err)
	}
	f.db, f.id = db, id
	return nil
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
	return openError(path, guard(path, func() error {
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
		return fmt.Errorf("%s: %w%s", path, loops.ErrInUse, holder(path))
	case errors.Is(err, loops.ErrDamaged), errors.As(err, &system):
		return fmt.Errorf("store: open: %w", err)
	case errors.Is(err, berrors.ErrInvalid), errors.Is(err, berrors.ErrVersionMismatch):
		return fmt.Errorf("%s: %w (%v)", path, loops.ErrForeign, err)
	}
	return fmt.Errorf("%s: %w (%v)", path, loops.ErrDamaged, err)
}
