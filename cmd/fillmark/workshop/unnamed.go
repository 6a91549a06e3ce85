// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"iter"
	"slices"
	"time"

	"fillmark/loops"
	"fillmark/loops/photos"
)

// UnnamedPhotos lists the photos beside the register that no history names, not
// even in an entry that is struck out: those of a form that is still open, or
// was never sent.
func (w *Workshop) UnnamedPhotos() ([]photos.Kept, error) {
	// Listed first: what is taken in and named after that is not in the list.
	kept, err := w.settings.Photos.List()
	if err != nil || len(kept) == 0 {
		return nil, err
	}
	named, err := PhotosNamed(w.register)
	if err != nil {
		return nil, err
	}
	var unnamed []photos.Kept
	for _, k := range kept {
		if !named[k.Hash] {
			unnamed = append(unnamed, k)
		}
	}
	return unnamed, nil
}

// PhotosNamed is the set of photos that any entry names, by their hashes.
func PhotosNamed(register interface {
	Loops() iter.Seq2[loops.Loop, error]
	History(loops.LoopID) ([]loops.Entry, error)
}) (map[string]bool, error) {
	named := map[string]bool{}
	for l, err := range register.Loops() {
		if err != nil {
			return nil, err
		}
		history, err := register.History(l.ID)
		if err != nil {
			return nil, err
		}
		for _, e := range history {
			for _, hash := range e.PhotoHashes() {
				named[hash] = true
			}
		}
	}
	return named, nil
}

// unnamedBefore are those that were taken in by then.
func (w *Workshop) unnamedBefore(then time.Time) ([]photos.Kept, error) {
	unnamed, err := w.UnnamedPhotos()
	return slices.DeleteFunc(unnamed, func(k photos.Kept) bool { return k.At.After(then) }), err
}

// RemoveUnnamedPhotos deletes the photos that no history names and that were
// taken in by then, and returns how many. No entry is recorded meanwhile, so none
// can come to name one of them.
func (w *Workshop) RemoveUnnamedPhotos(before time.Time) (removed int, err error) {
	// Where there is none, as on most days, nobody waits for all histories.
	unnamed, err := w.unnamedBefore(before)
	if err != nil || len(unnamed) == 0 {
		return 0, errors.Join(err, w.settings.Photos.RemoveUnfinished(before))
	}
	w.acting.Lock()
	defer w.acting.Unlock()
	if unnamed, err = w.unnamedBefore(before); err != nil {
		return 0, err
	}
	for _, k := range unnamed {
		if err := w.settings.Photos.Remove(k.Hash); err != nil {
			return removed, err
		}
		removed++
	}
	return removed, w.settings.Photos.RemoveUnfinished(before)
}
