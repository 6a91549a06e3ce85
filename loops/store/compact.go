// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"go.etcd.io/bbolt"

	"fillmark/loops/store/bolt"
)

// Compact rewrites the file without the space that old pages take, and
// returns its size in bytes before and after. Reads and writes wait
// meanwhile. The new file is checked before it takes the place of the old one
// in one step, so that a kill at any point leaves one of the two. On Windows
// both are closed for a moment; another process that opens the store just then
// has it, and this one gets [ErrInUse].
func (s *Store) Compact(ctx context.Context) (before, after int64, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	swap := s.swapOpen
	if runtime.GOOS == "windows" {
		swap = s.swapClosed
	}
	if before, after, err = s.compact(ctx, swap); err != nil {
		return 0, 0, fmt.Errorf("store: compact: %w", named(err))
	}
	return before, after, nil
}

func (s *Store) compact(ctx context.Context, swap func(fresh *bbolt.DB, id fileIdentity, temp string) error) (before, after int64, err error) {
	if s.opts.ReadOnly {
		return 0, 0, errors.New("the store is open for reading only")
	}
	if err := s.id.at(s.path); err != nil {
		return 0, 0, err // it would take the place of what is none of ours
	}
	if before, err = fileSize(s.path); err != nil {
		return 0, 0, err
	}
	temp := s.path + compactSuffix
	if err := removeIfThere(temp); err != nil {
		return 0, 0, err
	}
	var id fileIdentity
	fresh, err := bbolt.Open(temp, 0o600, &bbolt.Options{
		Timeout: s.opts.Timeout, MaxSize: s.opts.MaxSize, FreelistType: bbolt.FreelistMapType, OpenFile: id.open,
	})
	if err != nil {
		return 0, 0, err
	}
	if err := bolt.Guard(s.path, func() error { return rewrite(ctx, fresh, s.db, temp) }); err != nil {
		return 0, 0, errors.Join(err, fresh.Close(), removeIfThere(temp))
	}
	if err := errors.Join(swap(fresh, id, temp), SyncFolder(filepath.Dir(s.path))); err != nil {
		return 0, 0, err
	}
	after, err = fileSize(s.path)
	return before, after, err
}

// swapOpen puts the new file in the place of the old one. The new file was
// locked from its beginning and the old one is still: no other process can come
// between.
func (s *Store) swapOpen(fresh *bbolt.DB, id fileIdentity, temp string) error {
	if err := os.Rename(temp, s.path); err != nil {
		return errors.Join(err, fresh.Close(), removeIfThere(temp))
	}
	old := s.db
	s.db, s.id = fresh, id
	return old.Close()
}

// swapClosed does so where a file that is open cannot be renamed: both are
// closed for a moment, and the one that then has the name is opened again.
func (s *Store) swapClosed(fresh *bbolt.DB, _ fileIdentity, temp string) error {
	err := errors.Join(fresh.Close(), s.db.Close())
	if err == nil {
		err = os.Rename(temp, s.path)
	}
	var id fileIdentity
	db, opened := openFile(s.path, s.opts, &id)
	if opened == nil {
		s.db, s.id = db, id
	}
	return errors.Join(err, opened, removeIfThere(temp))
}

// rewrite fills the new file from the old one and checks it.
func rewrite(ctx context.Context, fresh, old *bbolt.DB, temp string) error {
	const transactionSize = 1 << 20 // bytes, to bound the memory it takes
	// One sync at the end will do: until then the file is nobody's store.
	fresh.NoSync = true
	if err := bbolt.Compact(fresh, old, transactionSize); err != nil {
		return err
	}
	fresh.NoSync = false
	if err := errors.Join(fresh.Sync(), bothRoots(fresh)); err != nil {
		return err
	}
	report, err := checkDB(ctx, temp, fresh, true)
	return errors.Join(err, report.err())
}

func fileSize(path string) (int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return 0, err
	}
	return info.Size(), nil
}
