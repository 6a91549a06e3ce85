// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package disk

import (
	"errors"
	"os"
	"runtime"
)

// Scratch is a file for what is only passed through. It goes when it is closed or
// the process ends, however that ends; on Windows, where a file that is open keeps
// its name, a kill leaves it in the folder for temporary files.
type Scratch struct{ *os.File }

// NewScratch makes one, in the folder for temporary files.
func NewScratch() (Scratch, error) {
	file, err := os.CreateTemp("", "fillmark-*")
	if err == nil && runtime.GOOS != "windows" {
		if err = os.Remove(file.Name()); err != nil {
			err = errors.Join(err, file.Close())
		}
	}
	return Scratch{file}, err
}

// Close lets go of the file, and of what is in it.
func (s Scratch) Close() error {
	err := s.File.Close()
	if runtime.GOOS == "windows" {
		err = errors.Join(err, os.Remove(s.Name()))
	}
	return err
}
