// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"

	"fillmark/loops"
)

// Step ticks a step of the job sheet, or leaves it out.
type Step struct {
	Doing
	loops.StepDone
}

func stepAct() Definition {
	return define(Definition{
		Name: "step", Done: "Step", Kind: loops.KindStep,
		Short:    "Tick a step of the job sheet, or leave it out with the reason",
		Examples: []string{"7K3QXW --sheet-step weigh-filled --value 1530", `7K3QXW --sheet-step judge-pump --left-out --note "the pump is sealed in"`},
	}, fields[Step]{
		one(Field{Name: "sheet-step", Also: []string{"step"}, Label: "", Help: "the step's name, as loop step TAG lists it", Needed: true}, choice("STEP", loops.StepIDs()), func(a *Step) *loops.StepID { return &a.Step }),
		may(Field{Name: "value", Label: "", Help: "the figure that the step records, in the sheet's unit"}, plain("NUMBER", ""), func(a *Step) **float64 { return &a.Value }),
		one(Field{Name: "found", Label: "found", Help: "what was found, of a step that looks for something"}, choice("FOUND", loops.Findings()), func(a *Step) *string { return &a.Found }),
		one(Field{Name: "left-out", Label: "left out", Help: "it was not done; the note says why"}, truth(), func(a *Step) *bool { return &a.LeftOut }),
	}, func(e loops.Entry) Step { return Step{StepDone: *e.Step} })
}

// Check refuses a step of another kind of loop, and one left out without a
// reason.
func (a *Step) Check(s Snapshot, _ loops.Day) error {
	if !slices.ContainsFunc(loops.StepsFor(s.Loop.Sealed), func(x loops.Step) bool { return x.ID == a.Step }) {
		return wrong("sheet-step", string(a.Step), "a step for this kind of loop; the job sheet lists them")
	}
	if a.LeftOut && a.Note == "" {
		return wrong("note", "", "why the step was left out")
	}
	return nil
}

// Apply ticks it.
func (a *Step) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindStep, Step: &a.StepDone}, today)
}
