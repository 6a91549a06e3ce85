// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"fillmark/loops"
)

// identity is which file is open, whatever becomes of its name: device and
// inode, or what the system has in their place.
type identity struct{ info fs.FileInfo }

// open opens a file for bbolt and puts down which one it is.
func (id *identity) open(path string, flag int, mode os.FileMode) (*os.File, error) {
	f, err := os.OpenFile(path, flag, mode)
	if err != nil {
		return nil, err
	}
	if id.info, err = f.Stat(); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// at gives loops.ErrGone where the path leads to no file, or to another one.
func (id *identity) at(path string) error {
	there, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%w (nothing is at %s now)", loops.ErrGone, path)
	case err != nil:
		return fmt.Errorf("%w (%w)", loops.ErrGone, err)
	case !os.SameFile(id.info, there):
		return fmt.Errorf("%w (%s is another file now)", loops.ErrGone, path)
	}
	return nil
}
