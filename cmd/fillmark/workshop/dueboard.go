// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"maps"
	"slices"
	"sync"
	"time"

	"fillmark/loops"
	"fillmark/schedule"
)

// dueBoard is the technician's list as it was read last. A look after a write
// reads again what was written alone: with a hundred thousand loops some twenty
// thousand stand on the list, and one of them changes. The zero value was never
// read.
//
// What stands on it follows from the records that [loops.Touched] names, the
// workshop's day, the last silence of the program and, where a letter is on its
// way, the hour.
type dueBoard struct {
	mu       sync.Mutex
	listing  *schedule.Listing
	list     schedule.TechnicianList // of listing, for reading only
	revision loops.StoreRevision
	off      loops.Uptime // its Swept is not told
}

// errReadAll says that a list cannot be brought up to date piece by piece.
var errReadAll = errors.New("all of the list is to be read")

// technicianList is the list at the instant, for reading only.
func (w *Workshop) technicianList(at time.Time) (schedule.TechnicianList, error) {
	b := &w.board
	b.mu.Lock()
	defer b.mu.Unlock()
	today := loops.DayOf(at, w.settings.Zone)
	off, err := w.register.Uptime()
	if err != nil {
		return schedule.TechnicianList{}, err
	}
	off.Swept = time.Time{}
	// Before the records are read: a write meanwhile is one to come.
	touched, revision, known, err := w.register.TouchedSince(b.revision)
	if err != nil {
		return schedule.TechnicianList{}, err
	}
	err = errReadAll
	if b.listing != nil && known && b.listing.Day() == today && b.off == off {
		err = w.refresh(b, touched, at)
	}
	if errors.Is(err, errReadAll) {
		var items []schedule.Item
		if items, err = w.items(today.AddDays(lookAhead), at); err == nil {
			b.listing = schedule.NewListing(w.settings.Policy, today, items)
			b.list = b.listing.List()
		}
	}
	if err != nil {
		return schedule.TechnicianList{}, err
	}
	b.revision, b.off = revision, off
	return b.list, nil
}

// refresh brings the list up to date with what was touched.
func (w *Workshop) refresh(b *dueBoard, touched loops.Touched, at time.Time) error {
	for key := range touched.Messages {
		m, err := w.register.MessageHead(key)
		if errors.Is(err, loops.ErrNotFound) {
			return errReadAll // nobody says whose it was
		}
		if err != nil {
			return err
		}
		touched.Owners[m.Owner] = m.Owner != 0
	}
	concerned := b.listing.Concerned(touched)
	if len(concerned) == 0 {
		return nil
	}
	read, err := w.register.LoopsWith(slices.Collect(maps.Keys(concerned)))
	if err != nil {
		return err
	}
	var dues []loops.Due
	for _, loop := range read {
		for _, due := range loop.Dues() {
			if !due.Day.After(b.listing.Day().AddDays(lookAhead)) {
				dues = append(dues, due)
			}
		}
	}
	items, err := w.itemsOf(dues, read, at)
	if err != nil {
		return err
	}
	b.listing.Replace(concerned, items)
	b.list = b.listing.List()
	return nil
}
