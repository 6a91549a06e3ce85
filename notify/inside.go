// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify/words"
)

// MachineName names a machine to its owner, and the loop where it has several.
func MachineName(m loops.Machine, l loops.Loop) string {
	if l.Name != "" {
		return m.Name + " (" + l.Name + ")"
	}
	return m.Name
}

// ChargeInWords says what is in a loop, with the fraction, its basis and in one
// word how it is known, and what was added, so that an owner can read it out to
// somebody.
func ChargeInWords(ws words.Words, c loops.Charge) string {
	var added []string
	for _, role := range loops.AdditiveRoles() {
		for _, a := range c.Having(role) {
			name := ws.Say("charge.unknown-" + string(role))
			if a.FamilyName() != "" {
				name = ws.Recorded(a.FamilyName())
			}
			if !slices.Contains(added, name) {
				added = append(added, name)
			}
		}
	}
	if len(added) == 0 {
		return fluidInWords(ws, c)
	}
	return ws.Say("charge.with", fluidInWords(ws, c), strings.Join(added, ", "))
}

func fluidInWords(ws words.Words, c loops.Charge) string {
	fluid := ws.Recorded(c.Fluid.Name())
	switch {
	case c.Fluid == "":
		return ws.Say("charge.unknown")
	case !c.Fluid.IsGlycol():
		return fluid
	case c.Mass == nil:
		return ws.Say("charge.no-strength", fluid)
	}
	said := ws.Say("charge", fmt.Sprintf("%.0f", c.Mass.Percent()), fluid)
	if how := c.MassKnown.How.Word(); how != "" {
		said = ws.Say("charge.known", said, ws.Recorded(how))
	}
	return said
}

// ConditionsForOwner are the conditions as an owner reads them, the worst first.
func ConditionsForOwner(ws words.Words, all []loops.Condition) []string {
	var said []string
	for _, c := range all {
		said = append(said, ws.Recorded(c.OwnerText))
	}
	return said
}

// Inside is a loop and what its owner calls its machine.
type Inside struct {
	Machine string
	Loop    loops.Loop
}

// contents is what may be in the loop: of one that was drained, what wets it.
func (i Inside) contents() chemistry.Contents {
	switch s := i.Loop.State; {
	case s.Charge != nil:
		return s.Charge.Contents()
	case s.Remains != nil:
		return s.Remains.Contents()
	}
	return chemistry.Contents{}
}

// Cautions are the cautions of all that is in the loops, in owners' words: each
// once, those of poisonous and unknown liquids first. One that does not hold
// for all of the loops names its machines, so that nobody takes the harmless
// liquid of one for that of the other.
func Cautions(all []Inside) []string {
	var loopsOnce []Inside
	for _, i := range all {
		if !slices.ContainsFunc(loopsOnce, func(o Inside) bool { return o.Loop.ID == i.Loop.ID }) {
			loopsOnce = append(loopsOnce, i)
		}
	}
	harm := func(i Inside) int {
		if poisonous(i.contents().Fluid) {
			return 0
		}
		return 1
	}
	slices.SortStableFunc(loopsOnce, func(a, b Inside) int { return cmp.Compare(harm(a), harm(b)) })
	var texts []string
	machines := map[string][]string{} // by text
	for _, i := range loopsOnce {
		for _, c := range chemistry.Cautions(i.contents()) {
			for _, text := range c.ForOwner() {
				if !slices.Contains(texts, text) {
					texts = append(texts, text)
				}
				machines[text] = append(machines[text], i.Machine)
			}
		}
	}
	if len(texts) == 0 {
		return nil
	}
	for n, text := range texts {
		if names := machines[text]; len(names) < len(loopsOnce) {
			texts[n] = "In “" + strings.Join(names, "”, “") + "”: " + text
		}
	}
	return append(texts, chemistry.Deferral)
}
