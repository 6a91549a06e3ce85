// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"fmt"

	"fillmark/loops"
)

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

// Months writes the months at the opening: "14.2", "10.1 to 16.0", "6.0 or more"
// or "not known".
func (l OpeningLine) Months() string {
	return SummaryCase{Origin: l.Origin, MonthsFrom: l.MonthsFrom, MonthsTo: l.MonthsTo}.Age()
}

// Age writes them with what they are counted from, or "age not known".
func (l OpeningLine) Age() string {
	if l.Origin == loops.UnknownOrigin && l.MonthsFrom == 0 {
		return "age " + l.Months()
	}
	return fmt.Sprintf("%s months since the %s fill", l.Months(), l.Origin)
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

// Openings returns the standing openings of the loop, oldest first.
func (k Kept) Openings() []OpeningFile {
	var found []OpeningFile
	for _, life := range livesOf(k.History) {
		for _, e := range life.openings {
			line := OpeningLine{
				Tag: k.Loop.Tag, Entry: e.ID, Day: e.Day, Opening: *e.Opening, Look: e.Opening.Look(), Origin: life.charge.Origin,
				Machine: k.Machine.Kind, Maker: k.Machine.Maker, Model: k.Machine.Model, MonthsFrom: max(0, months(life.charge.FilledTo, e.Day)),
			}
			if !life.charge.FilledFrom.IsZero() {
				line.MonthsTo = months(life.charge.FilledFrom, e.Day)
			}
			found = append(found, OpeningFile{OpeningLine: line, Charge: life.charge, Built: k.Loop.Construction, Traits: k.traits(life),
				Signs: append([]loops.Sign{}, e.Opening.Signs()...), By: e.By, Note: e.Note})
		}
	}
	return found
}
