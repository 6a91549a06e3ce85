// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"slices"

	"fillmark/loops"
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

// KeepPhoto takes in an uploaded photo, one at a time, by way of a file: the
// name is only for what is said about it. A file that is none to keep is an
// [*loops.InvalidError].
func (w *Workshop) KeepPhoto(name string, content io.Reader) (KeptPhoto, error) {
	w.decoding.Lock()
	defer w.decoding.Unlock()
	photo, err := w.readPhoto(content)
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

// readPhoto puts the upload into a file without a name that others see, and has
// it read. So much of a file too large is taken that it is refused by its size.
func (w *Workshop) readPhoto(content io.Reader) (photo photos.Photo, err error) {
	spool, err := os.CreateTemp("", "fillmark-photo-*")
	if err != nil {
		return photo, fmt.Errorf("photo: %w", err)
	}
	defer func() { err = errors.Join(err, spool.Close(), os.Remove(spool.Name())) }()
	if _, err := io.Copy(spool, io.LimitReader(content, photos.MaxBytes+1)); err != nil {
		return photo, err
	}
	return w.settings.ReadPhoto(context.Background(), spool)
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

// openingFits refuses an opening that contradicts the loop's history: of a
// loop that was never filled, failed before it was filled, or measured good
// after it had failed.
func (w *Workshop) openingFits(file File, e loops.Entry) error {
	life, filled := lifeOn(file.History, e.Day)
	if !filled {
		for _, x := range loops.Standing(file.History) {
			if x.Kind == loops.KindFill {
				return wrong("day", e.Day.String(), "not before the loop was filled, "+x.Day.String())
			}
		}
		return wrong("tag", string(file.Loop.Tag), "a loop that has been filled; record its charge first, for a donor unit with "+
			"fillmark loop fill TAG --origin factory --filled-from DAY --filled-to DAY")
	}
	if e.Opening.Cause == loops.CauseNone || !e.Opening.Cause.InLoop() {
		return nil
	}
	failed, field := e.Day, "day"
	if on := e.Opening.FailedOn; !on.IsZero() {
		failed, field = on, "failed on"
		if on.After(e.Day) {
			return wrong(field, on.String(), "not after the opening, "+e.Day.String())
		}
	}
	if from := life.charge.FilledFrom; failed.Before(from) {
		return wrong(field, failed.String(), "not before the fill, "+from.String())
	}
	if life.lastGood.After(failed) {
		return wrong(field, failed.String(), "not before the day on which this charge was last measured good, "+life.lastGood.String())
	}
	return nil
}

// OpeningLine is an opening in a list, with what it is about.
type OpeningLine struct {
	Tag     loops.Tag         `json:"tag"`
	Entry   loops.EntryID     `json:"entry"`
	Day     loops.Day         `json:"day"`
	Opening loops.Opening     `json:"opening"`
	Look    string            `json:"look"`
	Origin  loops.Origin      `json:"origin"`
	Machine loops.MachineKind `json:"machine_kind"`
	Maker   string            `json:"maker,omitempty"`
	Model   string            `json:"model,omitempty"`
	// Months since the fill, from and to; To is zero where the fill has no
	// earliest day.
	MonthsFrom float64 `json:"months_from"`
	MonthsTo   float64 `json:"months_to,omitempty"`
}

// OpeningFile is one opening with all that stands around it and the likely
// readings of what was seen.
type OpeningFile struct {
	OpeningLine
	Charge loops.Charge       `json:"charge"`
	Built  loops.Construction `json:"built"`
	Traits []Trait            `json:"traits"`
	Signs  []loops.Sign       `json:"signs"`
	By     string             `json:"by"`
	Note   string             `json:"note,omitempty"`
}

// Openings lists every standing opening, the newest first.
func (w *Workshop) Openings() ([]OpeningLine, error) {
	lines := []OpeningLine{}
	reader := w.newCaseReader()
	for l, err := range w.register.Loops() {
		if err != nil {
			return nil, err
		}
		found, err := reader.openings(l)
		if err != nil {
			return nil, err
		}
		for _, f := range found {
			lines = append(lines, f.OpeningLine)
		}
	}
	slices.SortStableFunc(lines, func(a, b OpeningLine) int { return b.Day.Compare(a.Day) })
	return lines, nil
}

// OpeningsOf returns the openings of one loop, the newest first; none on
// record is an error that matches loops.ErrNotFound.
func (w *Workshop) OpeningsOf(tag loops.Tag) ([]OpeningFile, error) {
	loop, err := w.register.LoopByTag(tag)
	if err != nil {
		return nil, fmt.Errorf("loop %s: %w", tag, err)
	}
	found, err := w.newCaseReader().openings(loop)
	if err == nil && len(found) == 0 {
		err = fmt.Errorf("opening of loop %s: %w", tag, loops.ErrNotFound)
	}
	slices.Reverse(found)
	return found, err
}
