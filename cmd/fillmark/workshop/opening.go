// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"slices"

	"fillmark/disk"
	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/photos"
)

// KeptPhoto is a photo in the folder beside the register.
type KeptPhoto struct {
	Hash   string `json:"hash"`
	Width  int    `json:"width"`
	Height int    `json:"height"`
	// Already tells that the same photo was kept before.
	Already bool `json:"already,omitempty"`
}

// KeepPhoto takes in an uploaded photo by way of a file, and one at a time once
// that has come: the name is only for what is said about it. A file that is none to
// keep is an [*loops.InvalidError].
func (w *Workshop) KeepPhoto(name string, content io.Reader) (kept KeptPhoto, err error) {
	spool, err := disk.NewScratch()
	if err != nil {
		return kept, fmt.Errorf("photo: %w", err)
	}
	defer func() { err = errors.Join(err, spool.Close()) }()
	// So much of a file too large is taken that it is refused by its size.
	if _, err := io.Copy(spool, io.LimitReader(content, photos.MaxBytes+1)); err != nil {
		return kept, err
	}
	w.decoding.Lock()
	defer w.decoding.Unlock()
	photo, err := w.settings.ReadPhoto(context.Background(), spool.File)
	var refused *photos.RefusedError
	if errors.As(err, &refused) {
		return KeptPhoto{}, wrong("photo", name, refused.Reason)
	}
	if err != nil {
		return KeptPhoto{}, err
	}
	already, err := w.settings.Photos.Keep(photo)
	return KeptPhoto{Hash: photo.Hash, Width: photo.Width, Height: photo.Height, Already: already}, err
}

// Photo returns a kept photo as a JPEG, or an error that matches
// loops.ErrNotFound.
func (w *Workshop) Photo(hash string, size photos.Size) ([]byte, error) {
	content, err := w.settings.Photos.Read(hash, size)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("photo %s: %w", hash, loops.ErrNotFound)
	}
	return content, err
}

// photosKept refuses an entry that names a photo which is not there.
func (w *Workshop) photosKept(e loops.Entry) error {
	for _, hash := range e.PhotoHashes() {
		if _, err := w.Photo(hash, photos.Small); err != nil {
			return wrong("photo", hash, "a photo that was uploaded before")
		}
	}
	return nil
}

// Openings lists every standing opening, the newest first.
func (w *Workshop) Openings() ([]evidence.OpeningLine, error) {
	lines := []evidence.OpeningLine{}
	err := w.eachLoop(func(k evidence.Kept) error {
		for _, f := range k.Openings() {
			lines = append(lines, f.OpeningLine)
		}
		return nil
	})
	slices.SortStableFunc(lines, func(a, b evidence.OpeningLine) int { return b.Day.Compare(a.Day) })
	return lines, err
}

// OpeningsOf returns the openings of one loop, the newest first; none on
// record is an error that matches loops.ErrNotFound.
func (w *Workshop) OpeningsOf(tag loops.Tag) ([]evidence.OpeningFile, error) {
	file, err := w.FileAtShelf(tag)
	if err != nil {
		return nil, err
	}
	k := evidence.Kept{Loop: file.Loop, Machine: file.Machine, History: file.History, Lots: lotsOf(file.Shelf)}
	found := k.Openings()
	if len(found) == 0 {
		return nil, fmt.Errorf("opening of loop %s: %w", tag, loops.ErrNotFound)
	}
	slices.Reverse(found)
	return found, nil
}
