// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fmt"

	"fillmark/loops"
)

// Transfer gives the machine to another owner. It is written for every loop of
// the machine at once, which the workshop does.
type Transfer struct {
	Doing
	loops.Transfer
}

func transferAct() Definition {
	return define(Definition{
		Name: "transfer", Done: "Changed hands", Kind: loops.KindTransfer,
		Short:    "Record that the machine, with all its loops, has another owner",
		Examples: []string{`7K3QXW --new-owner 8 --note "sold"`},
	}, fields[Transfer]{
		one(Field{Name: "new-owner", Also: []string{"to"}, Label: "to owner number", Help: "number of the new owner", Example: "8", Needed: true}, number[loops.OwnerID]("NUMBER"), func(a *Transfer) *loops.OwnerID { return &a.To }),
	}, func(e loops.Entry) Transfer { return Transfer{Transfer: *e.Transfer} })
}

// Check refuses the present owner and a donor unit.
func (a *Transfer) Check(s Snapshot, _ loops.Day) error {
	switch {
	case a.To == s.Machine.Owner:
		return wrong("new-owner", fmt.Sprint(a.To), "another owner than the present one")
	case s.Machine.Kind == loops.DonorUnit:
		return wrong("tag", string(s.Loop.Tag), "a machine with an owner; a donor unit has none and gets none")
	}
	return nil
}

// Apply writes who had it and who has it.
func (a *Transfer) Apply(s Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindTransfer, Transfer: &loops.Transfer{From: s.Machine.Owner, To: a.To}}, today)
}
