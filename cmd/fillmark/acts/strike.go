// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
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

// struck is the entry that it strikes out; its kind is empty where there is none.
func (a *Strike) struck(s Snapshot) loops.Entry {
	i := slices.IndexFunc(s.History, func(e loops.Entry) bool { return e.ID == a.Strikes })
	if i < 0 {
		return loops.Entry{}
	}
	return s.History[i]
}

// Check refuses an entry that is not there or stands no more, and a transfer: the
// machine would stay with its new owner.
func (a *Strike) Check(s Snapshot, today loops.Day) error {
	entry := fmt.Sprint(a.Strikes)
	switch a.struck(s).Kind {
	case "":
		return wrong("entry", entry, fmt.Sprintf("an entry of this loop, 1 to %d", s.Loop.LastEntry))
	case loops.KindTransfer:
		return wrong("entry", entry, "no transfer, which moved the machine; record a transfer back to its owner")
	}
	if len(loops.Standing(s.with(a, today).History)) == len(loops.Standing(s.History)) {
		return wrong("entry", entry, "an entry that stands: this one was struck out before")
	}
	return nil
}

// Judge minds what an entry changed beside the history: that stays as it is.
func (a *Strike) Judge(s Snapshot, _ loops.Day) []Reason {
	switch e := a.struck(s); {
	case e.Kind == loops.KindHandover && s.Owner.ID != 0 && e.Handover.AskedFor() != (loops.Consent{}):
		return []Reason{byRecord("stays-changed", chemistry.Care, "what the owner agreed to at this hand-over stays on their record.",
			"Look at the owner's consents, and put right what was not agreed to.")}
	case e.Kind == loops.KindSwap:
		return []Reason{byRecord("stays-changed", chemistry.Care, "the loop's record no longer says how it was built before this swap.",
			"Enter again whether it is sealed, what it holds and what its parts are made of.")}
	}
	return nil
}

// Apply strikes it out.
func (a *Strike) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindCorrection, Correction: &a.Correction}, today)
}
