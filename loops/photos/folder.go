// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package photos

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"fillmark/disk"
)

// Folder is where photos are kept, a file and its small copy each. It is made
// with the first photo.
type Folder string

// Size chooses one of a photo's two files.
type Size string

// The sizes of a photo.
const (
	Full  Size = ""
	Small Size = "-small"
)

// Keep writes the photo, or tells that it is there already. After a kill or on
// a full disk there is either the whole photo or none: the small copy is
// written first, and each file under another name until it is whole.
func (f Folder) Keep(p Photo) (already bool, err error) {
	if p.Hash != Hash(p.JPEG) {
		return false, errors.New("photos: the hash is not that of the photo")
	}
	if f.Has(p.Hash) {
		// Written again, it counts as kept now, see [Folder.List].
		if err := disk.Replace(f.path(p.Hash, Small), p.Small); err != nil {
			return false, fmt.Errorf("photos: %w", err)
		}
		return true, nil
	}
	if err := os.MkdirAll(string(f), 0o700); err != nil {
		return false, fmt.Errorf("photos: %w", err)
	}
	for _, file := range []struct {
		size    Size
		content []byte
	}{{Small, p.Small}, {Full, p.JPEG}} {
		if err := disk.Replace(f.path(p.Hash, file.size), file.content); err != nil {
			return false, fmt.Errorf("photos: %w", err)
		}
	}
	return false, nil
}

// Has tells that the photo is there, whole, with its small copy.
func (f Folder) Has(hash string) bool {
	full, err := f.Read(hash, Full)
	if err != nil || Hash(full) != hash {
		return false
	}
	info, err := os.Stat(f.path(hash, Small))
	return err == nil && info.Mode().IsRegular()
}

// Read returns a photo's file; fs.ErrNotExist where there is none, also for
// what cannot be a hash.
func (f Folder) Read(hash string, size Size) ([]byte, error) {
	if !IsHash(hash) {
		return nil, fmt.Errorf("photo %q: %w", hash, fs.ErrNotExist)
	}
	content, err := os.ReadFile(f.path(hash, size))
	if err != nil {
		return nil, fmt.Errorf("photo %s: %w", hash, err)
	}
	return content, nil
}

// Kept is a photo in the folder and when it was last taken in.
type Kept struct {
	Hash string
	At   time.Time
}

// List lists the photos in the folder by their hashes, also those of which a
// kill left one of the two files.
func (f Folder) List() ([]Kept, error) {
	files, err := os.ReadDir(string(f))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("photos: %w", err)
	}
	var all []Kept
	for _, file := range files { // sorted by name: those of a photo follow each other
		hash, whole := hashOf(file.Name())
		info, err := file.Info()
		switch {
		case !whole || errors.Is(err, fs.ErrNotExist): // of somebody else, or gone meanwhile
			continue
		case err != nil:
			return nil, fmt.Errorf("photos: %w", err)
		}
		if n := len(all); n == 0 || all[n-1].Hash != hash {
			all = append(all, Kept{Hash: hash})
		}
		if last := &all[len(all)-1]; info.ModTime().After(last.At) {
			last.At = info.ModTime()
		}
	}
	return all, nil
}

// hashOf reads the hash from the name of a file in the folder; empty where it
// is no photo's. Whole is false for one that was being written: [disk.Replace]
// puts a dot before the name and a number behind it until then.
func hashOf(name string) (hash string, whole bool) {
	name, hidden := strings.CutPrefix(name, ".")
	if len(name) < 64 || !IsHash(name[:64]) {
		return "", false
	}
	for _, size := range []Size{Full, Small} {
		if rest, ok := strings.CutPrefix(name[64:], string(size)+".jpg"); ok && strings.Trim(rest, "0123456789") == "" {
			return name[:64], rest == "" && !hidden
		}
	}
	return "", false
}

// RemoveUnfinished deletes what a kill left of files that were being written
// before the instant.
func (f Folder) RemoveUnfinished(before time.Time) error {
	files, err := os.ReadDir(string(f))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("photos: %w", err)
	}
	for _, file := range files {
		hash, whole := hashOf(file.Name())
		info, err := file.Info()
		if hash == "" || whole || err != nil || !info.ModTime().Before(before) {
			continue
		}
		if err := os.Remove(filepath.Join(string(f), file.Name())); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("photos: %w", err)
		}
	}
	return nil
}

// Remove deletes a photo and its small copy; one that is not there is gone
// already.
func (f Folder) Remove(hash string) error {
	if !IsHash(hash) {
		return nil
	}
	for _, size := range []Size{Full, Small} {
		if err := os.Remove(f.path(hash, size)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("photos: %w", err)
		}
	}
	return nil
}

func (f Folder) path(hash string, size Size) string {
	return filepath.Join(string(f), hash+string(size)+".jpg")
}

// IsHash tells whether the text can name a photo: 64 small hexadecimal digits.
func IsHash(text string) bool {
	return len(text) == 64 && strings.Trim(text, "0123456789abcdef") == ""
}
