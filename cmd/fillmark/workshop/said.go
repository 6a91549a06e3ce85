// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"slices"
	"time"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Said is an answer of an owner that is on record.
type Said struct {
	loops.Answer
	Day loops.Day
}

// LastSaid finds the newest answer in the histories that still stands, with all
// that was noticed where it was about several loops; nil where there is none.
func LastSaid(files []OwnersFile) *Said {
	var last *Said
	var at time.Time
	for _, f := range files {
		for _, e := range loops.Standing(f.View.Own()) {
			if e.Kind != loops.KindAnswer || e.Recorded.Before(at) {
				continue
			}
			said := Said{*e.Answer, e.Day}
			if last != nil && e.Recorded.Equal(at) { // one answer about several loops
				said.Noticed = loops.NoticesOn(false, slices.Concat(said.Noticed, last.Noticed))
			}
			at, last = e.Recorded, &said
		}
	}
	return last
}

// saidToday tells that the owner's last answer, about the loop with the tag or,
// where that is empty, about any, is this one, given today: a button pressed
// twice, or a page or mail sent again, says nothing new.
func (w *Workshop) saidToday(s Stamp, owner loops.Owner, answer loops.Answer, about loops.Tag) (bool, error) {
	files, err := w.OwnersFiles(owner.ID)
	if err != nil {
		return false, err
	}
	if about != "" {
		files = slices.DeleteFunc(files, func(f OwnersFile) bool { return f.Loop.Tag != about })
	}
	last := LastSaid(files)
	return last != nil && last.Answer.Answer == answer.Answer && last.Words == answer.Words && slices.Equal(last.Noticed, loops.NoticesOn(false, answer.Noticed)) &&
		last.Photo == answer.Photo && last.On == answer.On && sameReading(last.Die, answer.Die) && last.Day == w.DayOf(owner, s.At), nil
}

func sameReading(a, b *chemistry.Celsius) bool {
	return a == nil && b == nil || a != nil && b != nil && *a == *b
}
