// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify/words"
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
func GuideFor(ws words.Words, task loops.TaskKind, kind loops.MachineKind, sealed bool, fluid chemistry.Fluid, reachUs string) Guide {
	g := Guide{Leave: leaveAlone(ws, kind, sealed), Wet: ifWet(ws, fluid, reachUs)}
	about, _ := loops.AboutTask(task)
	switch {
	case !about.ByOwner:
		g.Steps = bringIt(ws, fluid, reachUs)
	case sealed:
		g.Steps = lookSealed(ws, kind)
	default:
		g.Steps = lookOpen(ws, fluid)
	}
	return g
}

// lookSealed asks for what can be heard and felt: a sealed loop shows neither
// level nor colour.
func lookSealed(ws words.Words, kind loops.MachineKind) []string {
	note := ws.Say("look.processor")
	if kind.IsChiller() {
		note = ws.Say("look.display")
	}
	return []string{ws.Say("look.listen"), ws.Say("look.air"), note, ws.Say("look.off"), ws.Say("look.lamp-along")}
}

// lookOpen asks for the level against the mark and for the colour, which
// spoils differently from fluid to fluid.
func lookOpen(ws words.Words, fluid chemistry.Fluid) []string {
	colour := ws.Say("look.colour")
	switch fluid {
	case chemistry.TreatedWater:
		colour = ws.Say("look.colour-water")
	case chemistry.DeionisedWater:
		colour = ws.Say("look.colour-pure")
	}
	return []string{ws.Say("look.listen"), ws.Say("look.off"), ws.Say("look.level"), colour, ws.Say("look.along")}
}

func bringIt(ws words.Words, fluid chemistry.Fluid, reachUs string) []string {
	carry := ws.Say("bring.carry")
	if !fluid.IsGlycol() {
		carry += " " + ws.Say("bring.frost")
	}
	return []string{ws.Say("bring.agree", reachUs), ws.Say("bring.use"), carry}
}

// KeepOff returns the guide for a machine that is not to run: what it asks of
// the owner comes before any look or use.
func (g Guide) KeepOff(ws words.Words, reachUs string) Guide {
	g.Steps = []string{ws.Say("keep-off"), ws.Say("bring.agree", reachUs), ws.Say("keep-off.upright")}
	return g
}

func leaveAlone(ws words.Words, kind loops.MachineKind, sealed bool) []string {
	leave := []string{ws.Say("leave.add-level"), ws.Say("leave.drain")}
	if sealed {
		leave = []string{ws.Say("leave.sealed"), ws.Say("leave.add")}
	}
	if kind.IsChiller() {
		leave = append(leave, ws.Say("leave.licensed"))
	}
	return leave
}

// poisonous tells of a fluid whether it is, or may be where nobody knows it.
func poisonous(fluid chemistry.Fluid) bool { return fluid == chemistry.EthyleneGlycol || fluid == "" }

func ifWet(ws words.Words, fluid chemistry.Fluid, reachUs string) string {
	wet := ws.Say("wet", reachUs)
	if poisonous(fluid) {
		wet += " " + ws.Say("wet.poison")
	}
	return wet
}

// machineWord is what an owner calls a machine of the kind.
func machineWord(ws words.Words, kind loops.MachineKind) string {
	switch kind {
	case loops.Desktop, loops.Workstation:
		return ws.Say("machine.computer")
	case loops.Server:
		return ws.Say("machine.server")
	case loops.BenchChiller, loops.LaserChiller:
		return ws.Say("machine.chiller")
	}
	return ws.Say("machine.other")
}
