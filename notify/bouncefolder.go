// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// BounceFolder is a Maildir that mail comes back to.
type BounceFolder struct {
	Dir string
}

// Each gives every new mail to read and then moves it to the folder's cur, where
// a person still finds it. A mail that read gives an error for stays new; the
// others are read all the same.
func (b BounceFolder) Each(read func(io.Reader) error) error {
	entries, err := os.ReadDir(filepath.Join(b.Dir, "new"))
	if errors.Is(err, fs.ErrNotExist) {
		return nil // nothing was ever delivered there
	}
	if err != nil {
		return fmt.Errorf("bounce folder: %w", err)
	}
	var failed []error
	for _, e := range entries {
		if !e.Type().IsRegular() {
			continue
		}
		if err := b.one(e.Name(), read); err != nil {
			failed = append(failed, fmt.Errorf("bounce folder: %w", err))
		}
	}
	return errors.Join(failed...)
}

func (b BounceFolder) one(name string, read func(io.Reader) error) error {
	f, err := os.Open(filepath.Join(b.Dir, "new", name))
	if err != nil {
		return err
	}
	if err := errors.Join(read(f), f.Close()); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Join(b.Dir, "cur"), 0o700); err != nil {
		return err
	}
	seen := ":2,"
	if runtime.GOOS == "windows" {
		seen = ";2," // a colon is no part of a file's name there
	}
	return os.Rename(filepath.Join(b.Dir, "new", name), filepath.Join(b.Dir, "cur", name+seen))
}
