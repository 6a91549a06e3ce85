// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"strings"

	"fillmark/loops"
)

// Printed is a letter on paper: the same words as plain text and as HTML whose
// style sheet knows print.
type Printed struct {
	Text, HTML string
}

// ComposePrinted writes the letter for an owner without mail. Date, Message-ID,
// links, calendar and the owner's mail address are not used; answers come as
// [Workshop.ReachOnPaper] says.
func ComposePrinted(in ReminderInput) (Printed, error) {
	if err := errors.Join(in.validateContent(), validatePaper(in.Workshop, in.Owner, in.Day)); err != nil {
		return Printed{}, err
	}
	ws := in.Workshop.Words(in.Owner)
	return in.document(ws, in.Workshop.ReachOnPaper(ws)).printed(in.Workshop, in.Owner, in.Day)
}

// validatePaper checks what every letter on paper has.
func validatePaper(w Workshop, o loops.Owner, day loops.Day) error {
	var p problems
	p.add(requireText("workshop name", w.Name, maxName))
	p.add(checkText("workshop phone", w.Phone, maxName))
	p.add(requireText("owner name", o.Name, maxName))
	if day.IsZero() {
		p.add(invalid("day", "", "the owner's day"))
	}
	for _, line := range addressLines(o) {
		p.add(checkText("owner address", line, maxAddress))
	}
	return errors.Join(p...)
}

func addressLines(o loops.Owner) []string {
	var lines []string
	for line := range strings.SplitSeq(o.Address, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			lines = append(lines, line)
		}
	}
	return lines
}

// printed is the document on paper.
func (d document) printed(w Workshop, o loops.Owner, day loops.Day) (Printed, error) {
	ws := w.Words(o)
	d.Address = append(append([]string{o.Name}, addressLines(o)...), "", ws.Day(day))
	d.Stop = button{}
	d.Reason = ws.Say("reason.paper", w.Name)
	d.Note = ws.Say("note.paper", w.ReachOnPaper(ws))
	text, html, err := w.templates().render(d.inUnits(o.Units))
	return Printed{text, html}, err
}
