// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package backups keeps the backups that are made by schedule: what they are
// called, which of them stay, how one comes into a folder whole or not at all, and
// how one is encrypted.
//
// Main types: [Folder], [Keep]. Nothing here opens a register. In a folder only
// what has a backup's name is ever looked at or removed.
package backups

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"fillmark/disk"
)

// The names in a backup.
const (
	Register = "register.db"
	Keys     = "keys"
	Photos   = "photos"
)

// Unfinished stands in the name of what is being written, until it is whole, and
// of what is being removed.
const Unfinished = ".part-"

// SealedEnding ends the name of a backup that is one encrypted file.
const SealedEnding = ".tar.age"

// form is how a name says when the backup was made, in UTC; no colons, which not
// every system allows.
const form = "fillmark-2006-01-02T15-04-05Z"

// Name is what a backup made at the instant is called, to the second.
func Name(at time.Time) string { return at.UTC().Format(form) }

// Made is a backup in a folder.
type Made struct {
	Path   string
	At     time.Time
	Sealed bool // one encrypted file
}

// Read tells what a path says of the backup it names; false where it has no
// backup's name.
func Read(path string) (Made, bool) {
	name, sealed := strings.CutSuffix(filepath.Base(path), SealedEnding)
	at, err := time.Parse(form, name)
	return Made{path, at, sealed}, err == nil
}

// Folder is where backups are put.
type Folder string

// List lists the backups that are whole, the newest first.
func (f Folder) List() ([]Made, error) {
	files, err := os.ReadDir(string(f))
	if err != nil {
		return nil, err
	}
	var all []Made
	for _, file := range files {
		if m, ok := Read(filepath.Join(string(f), file.Name())); ok && file.IsDir() != m.Sealed {
			all = append(all, m)
		}
	}
	slices.SortFunc(all, func(a, b Made) int { return b.At.Compare(a.At) })
	return all, nil
}

// Tidy removes what a kill left: backups that were not finished, and such as were
// being removed. It must not run while one is made.
func (f Folder) Tidy() error {
	files, err := os.ReadDir(string(f))
	if err != nil {
		return err
	}
	ours := regexp.MustCompile(`^fillmark-\d{4}-\d\d-\d\dT\d\d-\d\d-\d\dZ(` + regexp.QuoteMeta(SealedEnding) + `)?` + regexp.QuoteMeta(Unfinished) + `\d*$`)
	var faults []error
	for _, file := range files {
		if ours.MatchString(file.Name()) {
			faults = append(faults, os.RemoveAll(filepath.Join(string(f), file.Name())))
		}
	}
	return errors.Join(faults...)
}

// Part makes a folder for a backup that is being made; [Folder.Finish] gives it
// its name.
func (f Folder) Part(at time.Time) (string, error) {
	return os.MkdirTemp(string(f), Name(at)+Unfinished)
}

// Finish gives what is whole its name, for good.
func (f Folder) Finish(part string, m Made) error {
	if _, err := os.Lstat(m.Path); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s: %w", m.Path, fs.ErrExist)
	}
	if err := os.Rename(part, m.Path); err != nil {
		return err
	}
	return disk.SyncFolder(string(f))
}

// Put copies a backup into the folder, which has to be there, reads the copy back,
// and only then gives it its name.
func (f Folder) Put(from Made) (Made, error) {
	to := Made{filepath.Join(string(f), filepath.Base(from.Path)), from.At, from.Sealed}
	part := to.Path + Unfinished
	_, err := os.Stat(string(f))
	if err == nil {
		err = disk.CopyAll(from.Path, part)
	}
	if err == nil {
		err = same(from.Path, part)
	}
	if err == nil {
		err = f.Finish(part, to)
	}
	if err != nil {
		return to, errors.Join(err, os.RemoveAll(part))
	}
	return to, nil
}

// Rotate removes the backups that no rule keeps, one after the other, and returns
// those that are gone. A backup loses its name before anything of it is removed,
// so that a kill leaves none that looks whole and is not. Where the newest is
// later than now the clock was wrong, then or now, and none is removed.
func (f Folder) Rotate(keep Keep, now time.Time, zone *time.Location) (gone []Made, err error) {
	all, err := f.List()
	if err != nil {
		return nil, err
	}
	made := make([]time.Time, len(all))
	for i, m := range all {
		if made[i] = m.At; m.At.After(now) {
			return nil, fmt.Errorf("%s is named for a time to come, so none is removed: look at the clock, then at that backup", m.Path)
		}
	}
	for _, at := range keep.Stale(made, zone) {
		for _, m := range all {
			if !m.At.Equal(at) {
				continue
			}
			leaving := m.Path + Unfinished
			if err := os.Rename(m.Path, leaving); err != nil {
				return gone, err
			}
			if err := errors.Join(disk.SyncFolder(string(f)), os.RemoveAll(leaving)); err != nil {
				return gone, err
			}
			gone = append(gone, m)
		}
	}
	return gone, nil
}

// same reads both and refuses a copy that differs.
func same(from, copied string) error {
	return disk.Walk(from, func(below string) error {
		want, err := sumOf(filepath.Join(from, below))
		if err != nil {
			return err
		}
		got, err := sumOf(filepath.Join(copied, below))
		if err == nil && got != want {
			err = fmt.Errorf("%s: what is read back is not what was written", filepath.Join(copied, below))
		}
		return err
	})
}

// sumOf is the SHA-256 of a file.
func sumOf(path string) (sum [sha256.Size]byte, err error) {
	file, err := os.Open(path)
	if err != nil {
		return sum, err
	}
	hash := sha256.New()
	_, err = io.Copy(hash, file)
	copy(sum[:], hash.Sum(nil))
	return sum, errors.Join(err, file.Close())
}
