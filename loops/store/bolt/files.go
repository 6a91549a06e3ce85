// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	berrors "go.etcd.io/bbolt/errors"

	"fillmark/disk"
	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// writeNew lets fill write a file (mode 0600) that appears under its name only
// when it is whole and on the disk. It never replaces: a file that is there
// already gives an error that matches os.ErrExist.
func writeNew(path string, fill func(temp *os.File) error) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return &os.PathError{Op: "write", Path: path, Err: os.ErrExist}
	}
	temp, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+partSuffix+"*")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, removeIfThere(temp.Name())) }()
	if err := errors.Join(fill(temp), temp.Sync(), temp.Close()); err != nil {
		return named(err)
	}
	if err := giveName(temp.Name(), path); err != nil {
		return err
	}
	return disk.SyncFolder(filepath.Dir(path))
}

// giveName lets a file appear under a name where none is. Unlike a rename, a link
// fails where another process was faster; a disk without links, such as a stick with
// FAT or exFAT, has no more than a look before.
func giveName(temp, path string) error {
	err := os.Link(temp, path)
	if err == nil || errors.Is(err, os.ErrExist) {
		return err
	}
	if _, there := os.Lstat(path); !errors.Is(there, os.ErrNotExist) {
		return err
	}
	return os.Rename(temp, path)
}

// The endings of files that are being written beside the one of the name.
const (
	partSuffix    = ".part-"   // and random digits: what [writeNew] writes
	compactSuffix = ".compact" // what compaction writes
)

// removeLeftovers removes what a kill left beside a store while it was made,
// restored or compacted. The store is open, so no one is compacting it, and
// who is still making it finds it made.
func removeLeftovers(path string) error {
	folder, name := filepath.Split(path)
	files, err := os.ReadDir(filepath.Clean(folder))
	if err != nil {
		return err
	}
	for _, f := range files {
		if f.Name() == name+compactSuffix || strings.HasPrefix(f.Name(), name+partSuffix) {
			if err := removeIfThere(filepath.Join(folder, f.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

func removeIfThere(path string) error {
	if err := os.Remove(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// named makes an error that means a lack of space match loops.ErrFull.
func named(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) || errors.Is(err, berrors.ErrMaxSizeReached) {
		return fmt.Errorf("%w (%w)", loops.ErrFull, err)
	}
	return err
}

// Copy writes what one read transaction sees to a new file, whole and on the
// disk, and lets also read it too.
func (f *File) Copy(to string, also func(engine.Reader) error, check func(path string) error) error {
	return writeNew(to, func(temp *os.File) error {
		err := f.read(func(tx Tx) error {
			if err := tx.writeTo(temp); err != nil {
				return err
			}
			return also(tx)
		})
		if err != nil {
			return err
		}
		return check(temp.Name())
	})
}
