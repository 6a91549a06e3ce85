// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"

	"go.etcd.io/bbolt"

	"fillmark/disk"
	"fillmark/loops/store/engine"
)

// Compact rewrites the file without the space that old pages take. The new file
// is checked before it takes the place of the old one in one step, so that a kill
// at any point leaves one of the two. On Windows both are closed for a moment;
// another process that opens the store just then has it, and this one gets
// loops.ErrInUse.
func (f *File) Compact(check func(engine.Engine) error) (before, after int64, err error) {
	if runtime.GOOS == "windows" {
		return f.CompactClosed(check)
	}
	return f.compact(check, f.swapOpen)
}

// CompactClosed is [File.Compact] as it is where an open file cannot be renamed.
func (f *File) CompactClosed(check func(engine.Engine) error) (before, after int64, err error) {
	return f.compact(check, f.swapClosed)
}

func (f *File) compact(check func(engine.Engine) error, swap func(fresh *File) error) (before, after int64, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.opts.ReadOnly {
		return 0, 0, errors.New("the store is open for reading only")
	}
	if err := f.id.at(f.path); err != nil {
		return 0, 0, err // it would take the place of what is none of ours
	}
	if before, err = fileSize(f.path); err != nil {
		return 0, 0, err
	}
	fresh, err := f.rewritten(check)
	if err != nil {
		return 0, 0, named(err)
	}
	if err := errors.Join(swap(fresh), disk.SyncFolder(filepath.Dir(f.path))); err != nil {
		return 0, 0, named(err)
	}
	after, err = fileSize(f.path)
	return before, after, err
}

// rewritten is the new file, open and checked, beside the old one.
func (f *File) rewritten(check func(engine.Engine) error) (*File, error) {
	fresh := &File{path: f.path + compactSuffix, opts: f.opts}
	if err := removeIfThere(fresh.path); err != nil {
		return nil, err
	}
	db, err := bbolt.Open(fresh.path, 0o600, &bbolt.Options{
		Timeout: f.opts.Timeout, MaxSize: f.opts.MaxSize, FreelistType: bbolt.FreelistMapType, OpenFile: fresh.id.open,
	})
	if err != nil {
		return nil, err
	}
	fresh.db = db
	err = guard(f.path, func() error {
		const transactionSize = 1 << 20 // bytes, to bound the memory it takes
		// One sync at the end will do: until then the file is nobody's store.
		db.NoSync = true
		if err := bbolt.Compact(db, f.db, transactionSize); err != nil {
			return err
		}
		db.NoSync = false
		return errors.Join(db.Sync(), bothRoots(db))
	})
	if err == nil {
		err = check(fresh)
	}
	if err != nil {
		return nil, errors.Join(err, db.Close(), removeIfThere(fresh.path))
	}
	return fresh, nil
}

// swapOpen puts the new file in the place of the old one. The new file was
// locked from its beginning and the old one is still: no other process can come
// between.
func (f *File) swapOpen(fresh *File) error {
	if err := os.Rename(fresh.path, f.path); err != nil {
		return errors.Join(err, fresh.db.Close(), removeIfThere(fresh.path))
	}
	old := f.db
	f.db, f.id = fresh.db, fresh.id
	return old.Close()
}

// swapClosed does so where a file that is open cannot be renamed: both are
// closed for a moment, and the one that then has the name is opened again.
func (f *File) swapClosed(fresh *File) error {
	err := errors.Join(fresh.db.Close(), f.db.Close())
	if err == nil {
		err = os.Rename(fresh.path, f.path)
	}
	return errors.Join(err, f.open(), removeIfThere(fresh.path))
}

func fileSize(path string) (int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}
