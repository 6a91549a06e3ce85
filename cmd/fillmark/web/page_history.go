// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"slices"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// historyLine is one entry of a loop's history in words.
type historyLine struct {
	ID    loops.EntryID
	Day   loops.Day
	Kind  loops.EntryKind
	Words string
	Note  string
	By    string
	// Struck says why the entry no longer counts; empty where it does.
	Struck string
	Photos []string // hashes
}

// historyOf writes a history, the newest day first.
func historyOf(history []loops.Entry) []historyLine {
	struck := map[loops.EntryID]string{}
	for _, e := range history {
		if e.Kind == loops.KindCorrection {
			struck[e.Correction.Strikes] = fmt.Sprintf("struck out by entry %d: %s", e.ID, e.Correction.Why)
		}
	}
	for _, e := range loops.Standing(history) {
		delete(struck, e.ID) // a correction that was itself struck out strikes nothing
	}
	lines := make([]historyLine, 0, len(history))
	for _, e := range history {
		lines = append(lines, historyLine{e.ID, e.Day, e.Kind, EntryWords(e), e.Note, e.By, struck[e.ID], e.PhotoHashes()})
	}
	slices.SortStableFunc(lines, func(a, b historyLine) int {
		if c := b.Day.Compare(a.Day); c != 0 {
			return c
		}
		return int(b.ID) - int(a.ID)
	})
	return lines
}

// EntryWords says what was done, with its figures: the same words on a page and
// in a terminal. What an owner answered is no act and is told in their words.
func EntryWords(e loops.Entry) string {
	switch e.Kind {
	case loops.KindAnswer:
	case loops.KindLog:
		return e.TemperatureLog.Sentence()
	default:
		return acts.Words(e)
	}
	words := "The owner answers: " + e.Answer.Said()
	if e.Answer.Photo != "" {
		words += ", with a photo"
	}
	words += "."
	if x := e.Answer; x.Die != nil {
		words += fmt.Sprintf(" It showed %s in a room at %s under %s.", *x.Die, *x.Room, x.Ran)
	}
	if e.Answer.Words != "" {
		words += " “" + e.Answer.Words + "”"
	}
	return words
}

// readings tells readings that stand in another record.
func readings(x *loops.Inspection) string {
	return acts.Words(loops.Entry{Kind: loops.KindInspection, Inspection: x})
}
