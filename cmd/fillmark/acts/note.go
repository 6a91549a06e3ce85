// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"strings"

	"fillmark/loops"
)

// Note is anything worth remembering.
type Note struct{ Doing }

func noteAct() Definition {
	d := define(Definition{
		Name: "note", Done: "Noted", Kind: loops.KindNote,
		Short:    "Write down anything worth remembering",
		Examples: []string{`7K3QXW --note "the owner moves in May"`},
	}, fields[Note]{}, func(loops.Entry) Note { return Note{} })
	for i := range d.Fields {
		d.Fields[i].Needed = d.Fields[i].Name == "note" // which other acts may be without
	}
	return d
}

// Check wants some text.
func (a *Note) Check(Snapshot, loops.Day) error {
	if strings.TrimSpace(a.Doing.Note) == "" {
		return wrong("note", "", "some text")
	}
	return nil
}

// Apply writes it down.
func (a *Note) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindNote}, today)
}
