// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"errors"
	"fmt"
	"io/fs"
)

// Fault says what is wrong with a photo's file; empty where nothing is.
func (f Folder) Fault(hash string) (string, error) {
	content, err := f.Read(hash, Full)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "the file is missing", nil
	case err != nil:
		return "", err
	case Hash(content) != hash:
		return "the file is damaged", nil
	}
	return "", nil
}

// KeepAgain keeps a photo that was kept elsewhere, if it is the one.
func (f Folder) KeepAgain(hash string, full, small []byte) error {
	photo, err := Again(full, small)
	if err == nil && photo.Hash != hash {
		err = errors.New("the file is damaged")
	}
	if err == nil {
		_, err = f.Keep(photo)
	}
	if err != nil {
		return fmt.Errorf("photo %s: %w", hash, err)
	}
	return nil
}

// CopyFrom copies a photo with its small copy from another folder.
func (f Folder) CopyFrom(from Folder, hash string) error {
	full, err := from.Read(hash, Full)
	if err != nil {
		return err
	}
	small, err := from.Read(hash, Small)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return f.KeepAgain(hash, full, small)
}
