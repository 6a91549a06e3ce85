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
		one(Field{Name: "sealed", Label: "sealed", Help: "the new one has no fill port"}, truth(), func(a *Swap) *bool { return &a.Sealed }),
		one(Field{Name: "fluid", Label: "fluid", Help: "fluid in the new one; unknown unless said", Unknown: true}, anyFluid(), func(a *Swap) *chemistry.Fluid { return &a.Fluid }),
		one(Field{Name: "holds", Also: []string{"volume"}, Label: "holds", Help: "what the new one holds, where that is known", Example: "160ml", Unknown: true}, volume(), func(a *Swap) *chemistry.Litre { return &a.Volume }),
		one(Field{Name: "why", Label: "", Help: "why it was swapped", Personal: true}, words(), func(a *Swap) *string { return &a.Why }),
	}, func(e loops.Entry) Swap { return Swap{Swap: *e.Swap} })
}

// Check refuses a loop that left service.
func (a *Swap) Check(s Snapshot, today loops.Day) error {
	return s.returned(a.on(today), loops.KindSwap)
}

// Apply forgets what the old loop was made of; how cold the place gets and who
// reaches it stay.
func (a *Swap) Apply(s Snapshot, today loops.Day) loops.Change {
	loop := s.Loop
	loop.Construction = loops.Construction{
		Sealed: a.Sealed, Volume: a.Volume, ColdestWall: loop.ColdestWall, ColdestWallKnown: loop.ColdestWallKnown,
		NoFrost: loop.NoFrost, SetPoint: loop.SetPoint, EvaporatorMargin: loop.EvaporatorMargin, Reach: loop.Reach,
	}
	change := a.writes(loops.Entry{Kind: loops.KindSwap, Swap: &a.Swap}, today)
	change.Loops = []loops.Loop{loop}
	return change
}
