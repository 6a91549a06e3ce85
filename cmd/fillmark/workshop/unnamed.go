// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"iter"
	"time"

	"fillmark/loops"
	"fillmark/loops/photos"
)

// unnamedFor is how long a photo may lie beside the register before a form
// that would name it counts as given up.
const unnamedFor = 24 * time.Hour

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

// RemoveUnnamedPhotos deletes the photos that no history names and that were
// taken in more than a day ago, and returns how many. No entry is recorded
// meanwhile, so none can come to name one of them.
func (w *Workshop) RemoveUnnamedPhotos(now time.Time) (int, error) {
	w.acting.Lock()
	defer w.acting.Unlock()
	unnamed, err := w.UnnamedPhotos()
	if err != nil {
		return 0, err
	}
	removed, before := 0, now.Add(-unnamedFor)
	for _, k := range unnamed {
		if k.At.After(before) {
			continue
		}
		if err := w.settings.Photos.Remove(k.Hash); err != nil {
			return removed, err
		}
		removed++
	}
	return removed, w.settings.Photos.RemoveUnfinished(before)
}
