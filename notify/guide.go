// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Guide is what an owner is asked to do about a machine, in words without
// jargon. The sentences are common practice of the trade, no source.
type Guide struct {
	Steps []string // in order, at most five
	Leave []string // what to leave alone
	Wet   string   // what to do where anything is wet
}

// maxSteps is how much we ask of an owner at a time.
const maxSteps = 5

// GuideFor returns what the owner may do for a task. Only [loops.Look] is the
// owner's own work; for every other task the machine comes to the workshop.
// Callers pass how they are reached: [Workshop.ReachUs] in a mail,
// [Workshop.ReachOnPaper] on paper.
func GuideFor(task loops.TaskKind, kind loops.MachineKind, sealed bool, fluid chemistry.Fluid, reachUs string) Guide {
	g := Guide{Leave: leaveAlone(kind, sealed), Wet: ifWet(fluid, reachUs)}
	about, _ := loops.AboutTask(task)
	switch {
	case !about.ByOwner:
		g.Steps = bringIt(fluid, reachUs)
	case sealed:
		g.Steps = lookSealed(kind)
	default:
		g.Steps = lookOpen(fluid)
	}
	return g
}

// lookSealed asks for what can be heard and felt: a sealed loop shows neither
// level nor colour.
func lookSealed(kind loops.MachineKind) []string {
	note := "If it shows the temperature of its processor, note the figure while it does the same work as when we gave it back, and send it to us."
	if kind.IsChiller() {
		note = "Note the temperature on its display while it does the same work as when we gave it back, and send it to us."
	}
	return []string{
		"Let it run for ten minutes as on an ordinary day and listen. Tell us of grinding, gurgling or rattling that is new.",
		"From outside, hold a hand where the warm air leaves it. Tell us if the air is weaker or hotter than you are used to.",
		note,
		"Switch it off, pull the plug and wait until every fan stands still.",
		"Look with a lamp along tubes and joints for drops, crusts and kinks. Hold the fan still and brush dust off the fins.",
	}
}

// lookOpen asks for the level against the mark and for the colour, which
// spoils differently from fluid to fluid.
func lookOpen(fluid chemistry.Fluid) []string {
	colour := "Hold a lamp behind the liquid. Tell us if it is brown, cloudy, or has flakes or slime in it."
	switch fluid {
	case chemistry.TreatedWater:
		colour = "Hold a lamp behind the liquid. Tell us if it is cloudy or green, or has flakes, threads or slime in it."
	case chemistry.DeionisedWater:
		colour = "Hold a lamp behind the liquid. It should be as clear as drinking water: tell us of any colour, cloud or specks."
	}
	return []string{
		"Let it run for ten minutes as on an ordinary day and listen. Tell us of grinding, gurgling or rattling that is new.",
		"Switch it off, pull the plug and wait until every fan stands still.",
		"Look how the liquid stands against the mark. Tell us if it is below, and by how much.",
		colour,
		"Look along tubes and joints for drops, crusts and kinks. Hold the fan still and brush dust off the fins.",
	}
}

func bringIt(fluid chemistry.Fluid, reachUs string) []string {
	carry := "Before you bring it: switch it off, pull the plug, let it cool and keep it upright."
	if !fluid.IsGlycol() {
		carry += " Keep it out of the frost on the way: there is water in it."
	}
	return []string{
		"To agree on a day, " + reachUs + ".",
		"Until then use it as usual, as long as it sounds and runs as you are used to.",
		carry,
	}
}

// KeepOff returns the guide for a machine that is not to run: what it asks of
// the owner comes before any look or use.
func (g Guide) KeepOff(reachUs string) Guide {
	g.Steps = []string{
		"Switch it off, pull the plug and leave it off.",
		"To agree on a day, " + reachUs + ".",
		"Let it cool, keep it upright and out of the frost, and keep children and animals away from it.",
	}
	return g
}

func leaveAlone(kind loops.MachineKind, sealed bool) []string {
	leave := []string{
		"Add nothing yourself, not even water, even if the level is low.",
		"Do not drain it and do not loosen a joint.",
	}
	if sealed {
		leave = []string{
			"Do not open it. It is sealed: there is no level or colour to look at.",
			"Add nothing yourself, not even water.",
		}
	}
	if kind.IsChiller() {
		leave = append(leave, "Leave its wiring and its refrigerant to people licensed for them.")
	}
	return leave
}

// poisonous tells of a fluid whether it is, or may be where nobody knows it.
func poisonous(fluid chemistry.Fluid) bool { return fluid == chemistry.EthyleneGlycol || fluid == "" }

func ifWet(fluid chemistry.Fluid, reachUs string) string {
	wet := "Switch it off and pull the plug at the wall, with dry hands. Leave it off and " + reachUs + ". A photo helps."
	if poisonous(fluid) {
		wet += " Keep children and animals away: the liquid is poisonous if swallowed."
	}
	return wet
}

// machineWord is what an owner calls a machine of the kind.
func machineWord(kind loops.MachineKind) string {
	switch kind {
	case loops.Desktop, loops.Workstation:
		return "computer"
	case loops.Server:
		return "server"
	case loops.BenchChiller, loops.LaserChiller:
		return "chiller"
	}
	return "machine"
}
