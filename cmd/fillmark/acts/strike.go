// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"slices"

	"fillmark/loops"
)

// Strike strikes out an entry that is wrong.
type Strike struct {
	Doing
	loops.Correction
}

func strikeAct() Definition {
	return define(Definition{
		Name: "strike", Done: "Struck out", Kind: loops.KindCorrection,
		Short:    "Strike out an entry that is wrong; nothing is ever deleted",
		Examples: []string{`7K3QXW --entry 12 --why "typed for the wrong loop"`},
	}, fields[Strike]{
		one(Field{Name: "entry", Also: []string{"strikes"}, Label: "entry", Help: "number of the entry, as the history lists it", Example: "12", Needed: true}, number[loops.EntryID]("NUMBER"), func(a *Strike) *loops.EntryID { return &a.Strikes }),
		one(Field{Name: "why", Label: "", Help: "why it is wrong", Needed: true, Personal: true}, words(), func(a *Strike) *string { return &a.Why }),
	}, func(e loops.Entry) Strike { return Strike{Correction: *e.Correction} })
}

// Check refuses an entry that is not there.
func (a *Strike) Check(s Snapshot, _ loops.Day) error {
	if !slices.ContainsFunc(s.History, func(e loops.Entry) bool { return e.ID == a.Strikes }) {
		return wrong("entry", fmt.Sprint(a.Strikes), fmt.Sprintf("an entry of this loop, 1 to %d", s.Loop.LastEntry))
	}
	return nil
}

// Apply strikes it out.
func (a *Strike) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindCorrection, Correction: &a.Correction}, today)
}
