// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fillmark/drawing"
	"fillmark/loops"
	"fillmark/notify/words"
)

// spoken gives templates the words of the page's reader: English on the bench,
// the owner's language on a page that an owner opens.
type spoken struct{ words words.Words }

// spokenTo are the words of an owner; of nobody known, the workshop's.
func (s *server) spokenTo(o loops.Owner) spoken { return spoken{s.Workshop.WordsFor(o)} }

// Lang is the language as HTML has it (BCP 47).
func (s spoken) Lang() string { return s.words.Language() }

// Say returns the sentence with the id.
func (s spoken) Say(id string, args ...any) string { return s.words.Say(id, args...) }

// Quoted puts a name between the language's marks.
func (s spoken) Quoted(name string) string { return s.words.Quoted(name) }

// Date writes a day.
func (s spoken) Date(d loops.Day) string { return s.words.Day(d) }

// Figures gives the numbers of a text the language's own mark before decimals.
func (s spoken) Figures(text string) string { return s.words.Figures(text) }

// gauge is a drawing with the words of its reader.
type gauge struct {
	spoken
	drawing.Gauge
}

// gaugeOf draws a protection; nil where there is none.
func gaugeOf(in spoken, p *loops.Protection) *gauge {
	g := drawing.GaugeOf(p)
	if g == nil {
		return nil
	}
	return &gauge{in, *g}
}

// Away says how many days ago a day was, or is ahead: "3 days ago", "today".
func (s spoken) Away(over int) string {
	switch {
	case over > 0:
		return s.words.Say("far.ago.days", over)
	case over == 0:
		return s.words.Say("far.today")
	}
	return s.words.Say("far.in.days", -over)
}
