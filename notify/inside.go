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
func ChargeInWords(c loops.Charge) string {
	var added []string
	for _, role := range loops.AdditiveRoles() {
		for _, a := range c.Having(role) {
			if name := cmp.Or(a.FamilyName(), string(role)+" of a family not known"); !slices.Contains(added, name) {
				added = append(added, name)
			}
		}
	}
	if len(added) == 0 {
		return fluidInWords(c)
	}
	return fluidInWords(c) + ", with " + strings.Join(added, ", ")
}

func fluidInWords(c loops.Charge) string {
	switch {
	case c.Fluid == "":
		return "a liquid that nobody knows"
	case !c.Fluid.IsGlycol():
		return c.Fluid.Name()
	case c.Mass == nil:
		return c.Fluid.Name() + " in water, strength not known"
	}
	return fmt.Sprintf("%.0f %% %s by mass in water", c.Mass.Percent(), c.Fluid.Name()) + c.MassKnown.Mark()
}

// ConditionsForOwner are the conditions as an owner reads them, the worst first.
func ConditionsForOwner(all []loops.Condition) []string {
	var said []string
	for _, c := range all {
		said = append(said, c.OwnerText)
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
