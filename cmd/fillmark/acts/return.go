// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Return gives the machine back as it is.
type Return struct {
	Doing
	loops.Return
}

func returnAct() Definition {
	return define(Definition{
		Name: "return", Done: "Returned as it is", Kind: loops.KindReturn,
		Short: "Give the machine back as it is: unrepaired, leaking, unproved or without consent",
		Long: `An owner can always have the machine back. It needs no proof; what is wrong with it
stands first on the sheet, and nothing is planned that calls the loop good.`,
		Examples: []string{`7K3QXW --why "the owner does not want it repaired"`},
	}, fields[Return]{
		one(Field{Name: "why", Label: "", Help: "why it goes back as it is", Needed: true, Personal: true}, words(), func(a *Return) *string { return &a.Why }),
	}, func(e loops.Entry) Return { return Return{Return: *e.Return} })
}

// Judge names what the machine goes back with. None of it stops it.
func (a *Return) Judge(s Snapshot, today loops.Day) []Reason {
	state := s.On(a.on(today))
	reasons := append(s.unfit(state, a.on(today)), s.gone(state)...)
	if state.Charge != nil {
		reasons = append(reasons, s.tooCold(state)...)
	}
	for i := range reasons {
		reasons[i].Verdict = reasons[i].Verdict.Max(chemistry.Care)
		if reasons[i].Verdict == chemistry.Stop {
			reasons[i].Verdict, reasons[i].Overrulable = chemistry.Care, false
		}
	}
	return reasons
}

// Apply gives it back.
func (a *Return) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindReturn, Return: &a.Return}, today)
}
