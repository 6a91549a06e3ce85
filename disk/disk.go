// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package disk writes files that only their owner reads, so that they are whole
// and outlast a loss of power: what has returned is on the disk. Errors are those
// of package os; a file that is there already gives one that matches
// fs.ErrExist. All of it is safe for concurrent use on different files.
package disk

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// WriteNew writes a file where none is, in a folder that is there. One that could
// not be written whole is removed again.
func WriteNew(path string, content io.Reader) error {
	if err := write(path, content); err != nil {
		return err
	}
	return SyncFolder(filepath.Dir(path))
}

// write leaves it to whoever calls it that the name lasts.
func write(path string, content io.Reader) error {
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, content)
	if err = errors.Join(err, out.Sync(), out.Close()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

// Replace writes a file under another name, which begins with a dot, and lets it
// take its own: a kill leaves the old one or the new.
func Replace(path string, content []byte) error {
	temp, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"*")
	if err != nil {
		return err
	}
	_, err = temp.Write(content)
	if err = errors.Join(err, temp.Sync(), temp.Close()); err == nil {
		err = os.Rename(temp.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(temp.Name()))
	}
	return SyncFolder(filepath.Dir(path))
}

// Files writes many files, in folders that it makes; their names last once Sync
// has returned, which asks the disk once for each folder. The zero value is ready.
type Files struct{ touched map[string]bool }

// WriteNew writes a file where none is, see [WriteNew].
func (f *Files) WriteNew(path string, content io.Reader) error {
	if f.touched == nil {
		f.touched = map[string]bool{}
	}
	inside := filepath.Dir(path)
	for folder := inside; !f.touched[folder]; folder = filepath.Dir(folder) {
		f.touched[folder] = true
		if _, err := os.Stat(folder); err == nil {
			break // nothing is new above
		}
	}
	if err := os.MkdirAll(inside, 0o700); err != nil {
		return err
	}
	return write(path, content)
}

// Sync makes the names last of all that was written.
func (f *Files) Sync() error {
	var faults []error
	for folder := range f.touched {
		faults = append(faults, SyncFolder(folder))
	}
	return errors.Join(faults...)
}

// CopyAll copies a file to where none is, or a folder with the files in it and
// below, and makes the folders for them.
func CopyAll(from, to string) error {
	return copyAll(from, to, func(copied error) error { return copied })
}

// CopyMissing does so, and leaves alone what is there already.
func CopyMissing(from, to string) error {
	return copyAll(from, to, func(copied error) error {
		if errors.Is(copied, fs.ErrExist) {
			return nil
		}
		return copied
	})
}

func copyAll(from, to string, faultOf func(copied error) error) error {
	var copies Files
	err := Walk(from, func(below string) error {
		in, err := os.Open(filepath.Join(from, below))
		if err != nil {
			return err
		}
		return errors.Join(faultOf(copies.WriteNew(filepath.Join(to, below), in)), in.Close())
	})
	if err != nil {
		return err
	}
	return copies.Sync()
}

// Walk visits a file, or the files in a folder and below, by their paths from
// there. The path may be a link to the folder, and a file in it a link to a file;
// any other link is an error, since whoever made it wants more than is visited.
func Walk(path string, visit func(below string) error) error {
	path, err := filepath.EvalSymlinks(path)
	if err != nil {
		return err
	}
	return filepath.WalkDir(path, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		kind := d.Type()
		if kind&fs.ModeSymlink != 0 {
			is, err := os.Stat(file)
			if err != nil {
				return err
			}
			if kind = is.Mode().Type(); !kind.IsRegular() {
				return fmt.Errorf("%s: a link to what is no file; a file, or a link to one, is right", file)
			}
		}
		if !kind.IsRegular() {
			return nil
		}
		below, err := filepath.Rel(path, file)
		if err != nil {
			return err
		}
		return visit(below)
	})
}

// SyncFolder makes names in a folder last.
func SyncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil // it has no such call for folders
	}
	folder, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(folder.Sync(), folder.Close())
}
