// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Weigh puts the machine or its cooler on the scale.
type Weigh struct {
	Doing
	loops.Weighing
}

func weighAct() Definition {
	return define(Definition{
		Name: "weigh", Done: "Weighed", Kind: loops.KindWeighing,
		Short: "Write down a weight: dry, drained, filled, or later to see what was lost",
		Examples: []string{
			`7K3QXW --stage filled --weight 1530g±1g --what "cooler with bracket"`,
			`7K3QXW --stage later --weight 1522g±1g --what "cooler with bracket"`,
		},
	}, fields[Weigh]{
		one(Field{Name: "stage", Label: "", Help: "when in the work it stood on the scale", Needed: true}, choice("STAGE", loops.WeighingStages()), func(a *Weigh) *loops.WeighingStage { return &a.Stage }),
		one(Field{Name: "weight", Label: "", Help: "what the scale shows", Example: "1530g", Needed: true}, mass(), func(a *Weigh) *chemistry.Kilogram { return &a.Weight }),
		one(Field{Name: "weight-uncertainty", Also: []string{"weight uncertainty"}, Label: "±", Help: "how sure the weight is (k = 2)", Example: "1g"}, mass(), func(a *Weigh) *chemistry.Kilogram { return &a.Uncertainty }),
		one(Field{Name: "what", Label: "on the scale", Help: "what stood on the scale; only the same is compared"}, words(), func(a *Weigh) *string { return &a.What }),
	}, func(e loops.Entry) Weigh { return Weigh{Weighing: *e.Weighing} })
}

// Apply writes it down.
func (a *Weigh) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindWeighing, Weighing: &a.Weighing}, today)
}
