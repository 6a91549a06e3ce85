// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"errors"
	"strings"
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
	var p problems
	p.add(requireText("workshop name", in.Workshop.Name, maxName))
	p.add(checkText("workshop phone", in.Workshop.Phone, maxName))
	p.add(requireText("owner name", in.Owner.Name, maxName))
	if in.Day.IsZero() {
		p.add(invalid("day", "", "the owner's day"))
	}
	p.add(in.validateContent())
	lines := []string{in.Owner.Name}
	for line := range strings.SplitSeq(in.Owner.Address, "\n") {
		if line = strings.TrimSpace(line); line != "" {
			p.add(checkText("owner address", line, maxName))
			lines = append(lines, line)
		}
	}
	if err := errors.Join(p...); err != nil {
		return Printed{}, err
	}
	d := in.document(in.Workshop.ReachOnPaper())
	d.Address = append(lines, "", in.Day.Long())
	d.Stop = button{}
	d.Reason = "You get this letter because " + in.Workshop.Name + " looks after this machine and mail cannot reach you."
	d.Note = "Tell us what you saw: " + in.Workshop.ReachOnPaper() + ". If you want no more letters, tell us that too."
	text, html, err := in.Workshop.templates().render(d.inUnits(in.Owner.Units))
	return Printed{text, html}, err
}
