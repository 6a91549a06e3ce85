// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
)

// MorningInput is all that the technician's morning list is written from. The
// lines come ready to read.
type MorningInput struct {
	Workshop  Workshop
	To        string    // the workshop's own address for it
	Day       loops.Day // the workshop's
	Date      time.Time
	MessageID string
	Sections  []MorningSection // empty ones are left out
	Link      string           // the page with what is due; empty for none
	Instead   Earlier          // the letter that this one takes the place of
}

// MorningSection is one headed list.
type MorningSection struct {
	Heading string
	Lines   []string
	Late    bool // under a dashed rule
}

// maxMorning bounds a section, and maxLineOfList a line of it in bytes: what is more
// stands on the page.
const (
	maxMorning    = 60
	maxLineOfList = 4 * maxSentence
)

// ComposeMorning writes the technician's list of the day. It goes to the
// workshop itself and so has no List-Unsubscribe.
func ComposeMorning(in MorningInput) (Letter, error) {
	if err := in.validate(); err != nil {
		return Letter{}, err
	}
	d := document{
		Lang:     string(loops.English),
		Subject:  in.Day.Long() + ": nothing is due",
		Greeting: "Good morning,",
		Intro:    "Nothing is due today, and nobody waits for an answer.",
		Closing:  []string{in.Workshop.Name},
		Reason:   "You get this list because mail.technician in the configuration names this address; empty it to stop the list.",
	}
	count := ""
	for _, s := range in.Sections {
		if len(s.Lines) == 0 {
			continue
		}
		if count != "" {
			count += ", "
		}
		count += fmt.Sprintf("%s %d", s.Heading, len(s.Lines))
		shown := s.Lines
		b := block{Heading: s.Heading}
		if len(shown) > maxMorning {
			b.Paragraphs = []string{fmt.Sprintf("%d lines; the first %d are here, all of them on the page.", len(shown), maxMorning)}
			shown = shown[:maxMorning]
		}
		if s.Late {
			b.Dues = []due{{"OVERDUE", loops.Count(len(s.Lines), "task"), ruleCare, ""}}
		}
		bounded := make([]string, len(shown))
		for i, line := range shown {
			bounded[i] = within(line, maxLineOfList)
		}
		b.Lists = []list{{Items: bounded}}
		d.Blocks = append(d.Blocks, b)
	}
	if count != "" {
		d.Subject = in.Day.Long() + ": " + shortened(count, 120)
		d.Intro = "This is the list of the bench for " + in.Day.Long() + ": " + count + "."
	}
	if in.Link != "" {
		d.Buttons = []button{{"The list on the page", in.Link}}
	}
	technician := loops.Owner{Email: in.To, Language: loops.English}
	return d.letter(envelope{in.Workshop, technician, in.Date, in.MessageID, "", in.Instead, nil}, nil)
}

func (in MorningInput) validate() error {
	var p problems
	p.add(requireText("workshop name", in.Workshop.Name, maxName))
	_, err := asciiAddress("workshop address", in.Workshop.From)
	p.add(err)
	_, err = asciiAddress("technician address", in.To)
	p.add(err)
	if in.Day.IsZero() {
		p.add(invalid("day", "", "the workshop's day"))
	}
	p.add(checkMessageID(in.MessageID))
	if in.Link != "" {
		p.add(checkLink("link", in.Link, in.Workshop.BaseURL))
	}
	for _, s := range in.Sections {
		p.add(requireText("section", s.Heading, maxName))
		for _, line := range s.Lines {
			p.add(requireText(s.Heading, within(line, maxLineOfList), maxLineOfList))
		}
	}
	return errors.Join(p...)
}

// within cuts a text to so many bytes.
func within(text string, most int) string {
	if len(text) <= most {
		return text
	}
	return strings.ToValidUTF8(text[:most-len("…")], "") + "…"
}
