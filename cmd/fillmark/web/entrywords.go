// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"slices"
	"strings"

	"fillmark/loops"
)

// EntryWords says in one paragraph what an entry records, with its figures:
// the same words on a page and in a terminal. It is empty where the note says
// all.
func EntryWords(e loops.Entry) string {
	switch e.Kind {
	case loops.KindWeighing:
		return weighingWords(e.Weighing)
	case loops.KindStep:
		return stepWords(e.Step)
	case loops.KindNote:
		return ""
	case loops.KindIntake:
		return entryWords(e) + hoursWords(e.Intake.RunningHours)
	case loops.KindOpening:
		return entryWords(e) + hoursWords(e.Opening.RunningHours)
	case loops.KindFill:
		return entryWords(e) + pouredWords(e.Fill.Poured)
	case loops.KindDrain:
		words := entryWords(e)
		if e.Drain.Out > 0 {
			words += " " + quantity(e.Drain.Out) + " came out."
		}
		return words + prefixed(" In it: ", e.Drain.Hazard)
	case loops.KindDose:
		words := entryWords(e)
		if e.Dose.Container != 0 {
			words += " " + quantity(e.Dose.Volume) + fromContainer(e.Dose.Container) + "."
		}
		return words
	}
	return entryWords(e)
}

func hoursWords(hours *float64) string {
	if hours == nil {
		return ""
	}
	return " Hour meter " + figure(*hours, "h") + "."
}

// fromContainer says which container something came from, if it was one.
func fromContainer(id loops.ContainerID) string {
	if id == 0 {
		return ""
	}
	return fmt.Sprintf(" from container %d", id)
}

func pouredWords(pours []loops.Pour) string {
	var parts []string
	for _, p := range pours {
		parts = append(parts, quantity(p.Volume)+" of "+p.Liquid+fromContainer(p.Container))
	}
	if len(parts) == 0 {
		return ""
	}
	return " Poured: " + strings.Join(parts, ", ") + "."
}

func weighingWords(x *loops.Weighing) string {
	stage := map[loops.WeighingStage]string{
		loops.WeighedDry: "dry", loops.WeighedDrained: "drained", loops.WeighedFilled: "filled", loops.WeighedLater: "in service",
	}[x.Stage]
	words := "Weighed " + stage + ": " + quantity(x.Weight)
	if x.Uncertainty > 0 {
		words += " ± " + quantity(x.Uncertainty)
	}
	return words + prefixed(", ", x.What) + "."
}

func stepWords(x *loops.StepDone) string {
	done := "Done"
	if x.LeftOut {
		done = "Left out"
	}
	words := done + ": " + string(x.Step)
	all := slices.Concat(loops.StepsFor(true), loops.StepsFor(false))
	if i := slices.IndexFunc(all, func(s loops.Step) bool { return s.ID == x.Step }); i >= 0 && x.Value != nil {
		words += fmt.Sprintf(", %s %s", all[i].Records, figure(*x.Value, all[i].Unit))
	}
	return words + "."
}
