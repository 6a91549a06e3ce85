// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Swap fits another cooler: one life ends and another begins.
type Swap struct {
	Doing
	loops.Swap
}

func swapAct() Definition {
	return define(Definition{
		Name: "swap", Done: "Another cooler fitted", Kind: loops.KindSwap,
		Short: "Replace this cooler with another liquid cooler",
		Long: `The life of the old charge ends and that of the new cooler's begins; what the loop
was made of is asked again. For an air cooler the loop is retired instead.`,
		Examples: []string{`7K3QXW --old-unit kept --sealed --why "plate worn through"`},
	}, fields[Swap]{
		one(Field{Name: "old-unit", Also: []string{"old unit"}, Label: "old unit", Help: "what becomes of the cooler that was taken out", Needed: true}, choice("WHAT", loops.OldUnits()), func(a *Swap) *loops.OldUnit { return &a.OldUnit }),
		may(Field{Name: "sealed", Label: "sealed", Help: "the new one has no fill port; not known unless said"}, truth(), func(a *Swap) **bool { return &a.Sealed }),
		one(Field{Name: "fluid", Label: "fluid", Help: "fluid in the new one; unknown unless said", Unknown: true}, anyFluid(), func(a *Swap) *chemistry.Fluid { return &a.Fluid }),
		one(Field{Name: "holds", Also: []string{"volume"}, Label: "holds", Help: "what the new one holds, where that is known", Example: "160ml", Unknown: true}, volume(), func(a *Swap) *chemistry.Litre { return &a.Volume }),
		one(Field{Name: "why", Label: "", Help: "why it was swapped", Personal: true}, words(), func(a *Swap) *string { return &a.Why }),
	}, func(e loops.Entry) Swap { return Swap{Swap: *e.Swap} })
}

// Check refuses a loop that left service.
func (a *Swap) Check(s Snapshot, today loops.Day) error {
	return s.returned(a.on(today), loops.KindSwap)
}

// Judge says what the charge of the new cooler does where it then stands. What
// nobody knows of a factory's charge keeps no cooler from being fitted.
func (a *Swap) Judge(s Snapshot, today loops.Day) []Reason {
	after := s.with(a, today)
	after.Loop = a.Apply(s, today).Loops[0]
	after.Loop.State = loops.Fold(after.until(a.on(today)))
	charge := *after.Loop.State.Charge
	charge.Volume = 0 // its maker left the room that it needs
	after.Loop.State.Charge = &charge
	reasons := JudgeCharge(after)
	for i, r := range reasons {
		if r.Rule == "unknown-charge" || r.Rule == "unknown-strength" {
			reasons[i].Verdict = chemistry.Care
		}
	}
	return chemistry.WorstFirst(reasons)
}

// Apply forgets what the old loop was made of; how cold the place gets and who
// reaches it stay.
func (a *Swap) Apply(s Snapshot, today loops.Day) loops.Change {
	loop := s.Loop
	loop.Construction = loops.Construction{
		Sealed: true, BuiltKnown: loops.Known{How: loops.NotKnown}, Volume: a.Volume, ColdestWall: loop.ColdestWall, ColdestWallKnown: loop.ColdestWallKnown,
		NoFrost: loop.NoFrost, SetPoint: loop.SetPoint, EvaporatorMargin: loop.EvaporatorMargin, Reach: loop.Reach,
	}
	if a.Sealed != nil {
		loop.Sealed, loop.BuiltKnown = *a.Sealed, loops.Known{}
	}
	change := a.writes(loops.Entry{Kind: loops.KindSwap, Swap: &a.Swap}, today)
	change.Loops = []loops.Loop{loop}
	return change
}
