// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

// Bring is one liquid to bring for the tasks of the week.
type Bring struct {
	What   string          `json:"what"` // "propylene glycol 40.0 mass %", or the product on the label
	Volume chemistry.Litre `json:"volume_l"`
	For    []loops.Tag     `json:"for"`
	// Note says what the amount rests on, or why there is none.
	Note string `json:"note,omitempty"`
}

// Sentence says it in one line, with the first loops of many.
func (b Bring) Sentence() string {
	amount := "An unknown amount"
	if b.Volume > 0 {
		amount = b.Volume.String()
	}
	const most = 20
	var tags []string
	for _, tag := range b.For[:min(len(b.For), most)] {
		tags = append(tags, string(tag))
	}
	more := ""
	if n := len(b.For) - most; n > 0 {
		more = fmt.Sprintf(" and %d more", n)
	}
	return fmt.Sprintf("%s of %s for %s%s: %s.", amount, b.What, strings.Join(tags, ", "), more, b.Note)
}

// bring adds up what the tasks need: for a top-up what the check of it asks
// for with the liquids on the shelf, for a coolant change the loop's volume,
// for a renewal the dose of the label.
func (w *Workshop) bring(lines []schedule.Line, shelf []loops.Container) ([]Bring, error) {
	takes := []loops.TaskKind{loops.TopUpTask, loops.CoolantChange, loops.InhibitorRenewal, loops.BiocideRenewal}
	lines = slices.DeleteFunc(slices.Clone(lines), func(l schedule.Line) bool { return !slices.Contains(takes, l.Task) })
	var tags []loops.Tag
	for _, line := range lines {
		tags = append(tags, line.Tag)
	}
	tagged, err := w.register.LoopsTagged(tags)
	if err != nil {
		return nil, err
	}
	list := bringList{}
	for _, line := range lines {
		loop, there := tagged[line.Tag]
		if !there {
			return nil, fmt.Errorf("loop %s: %w", line.Tag, loops.ErrNotFound)
		}
		charge := loop.State.Charge
		if charge == nil {
			continue
		}
		switch line.Task {
		case loops.TopUpTask:
			list.topUp(loop, shelf)
		case loops.CoolantChange:
			list.add(liquidName(*charge), loop.Volume, loop.Tag, "the whole volume of a coolant change, rinses not counted")
		case loops.InhibitorRenewal:
			list.dose(loops.RoleInhibitor, loop)
		case loops.BiocideRenewal:
			list.dose(loops.RoleBiocide, loop)
		}
	}
	slices.SortStableFunc(list.lines, func(a, b Bring) int { return cmp.Compare(a.What, b.What) })
	return slices.Concat([]Bring{}, list.lines), nil
}

// bringList gathers amounts by liquid and note.
type bringList struct{ lines []Bring }

func (b *bringList) add(what string, volume chemistry.Litre, tag loops.Tag, note string) {
	i := slices.IndexFunc(b.lines, func(l Bring) bool { return l.What == what && l.Note == note })
	if i < 0 {
		b.lines = append(b.lines, Bring{What: what, Note: note})
		i = len(b.lines) - 1
	}
	b.lines[i].Volume += volume
	if !slices.Contains(b.lines[i].For, tag) {
		b.lines[i].For = append(b.lines[i].For, tag)
	}
}

// dose adds the additives of a role by their labels' doses; without one there
// is no amount.
func (b *bringList) dose(role loops.AdditiveRole, loop loops.Loop) {
	for _, a := range loop.State.Charge.Having(role) {
		what := a.Product
		if what == "" {
			what = string(role)
			if a.Family != "" {
				what += " (" + a.Family + ")"
			}
		}
		if a.DoseMLPerL == 0 {
			b.add(what, 0, loop.Tag, "as much as its label says: no dose on record")
			continue
		}
		b.add(what, chemistry.Litre(a.DoseMLPerL/1000)*loop.Volume, loop.Tag, "by the dose of its label")
	}
}

// topUp adds what the check of a top-up pours, with the liquids on the shelf.
func (b *bringList) topUp(loop loops.Loop, shelf []loops.Container) {
	charge := *loop.State.Charge
	if charge.Fluid == "" {
		b.add("a clean jar for a sample", 0, loop.Tag, "nothing may be added while nobody knows what is in it")
		return
	}
	if loop.State.Missing <= 0 {
		b.add(liquidName(charge), 0, loop.Tag, "how much is missing is seen on the spot")
		return
	}
	var with []string
	for _, c := range shelf {
		if text := asLiquid(c, charge.Fluid); text != "" && !slices.Contains(with, text) {
			with = append(with, text)
		}
	}
	if len(with) > 0 {
		answer, err := TopUpQuestion{With: with}.CheckOf(loop, loops.SinceFill{})
		if err == nil && answer.Verdict != chemistry.Stop {
			poured := false
			for _, s := range answer.Steps {
				if s.VolumeML > 0 && s.Do != "drain" {
					b.add(s.What, chemistry.Litre(s.VolumeML/1000), loop.Tag, "by the top-up check with what is on the shelf")
					poured = true
				}
			}
			if poured {
				return
			}
		}
	}
	b.add(liquidName(charge), loop.State.Missing, loop.Tag, "nothing on the shelf passes the top-up check")
}

// asLiquid says what a container holds as the top-up check reads it; "" where
// it is nothing to pour into such a loop.
func asLiquid(c loops.Container, fluid chemistry.Fluid) string {
	mass, _ := c.Strength()
	switch {
	case c.Left <= 0 || c.Kind == loops.AdditiveBottle:
		return ""
	case c.Kind == loops.WaterContainer:
		return "water"
	case c.Fluid != fluid || mass == nil || !c.Fluid.IsGlycol():
		return ""
	case c.Kind == loops.ConcentrateBottle:
		return fmt.Sprintf("concentrate:%.2f%%", mass.Percent())
	}
	return fmt.Sprintf("premix:%.2f%%", mass.Percent())
}

// liquidName says what a charge is, to be mixed or taken from the shelf.
func liquidName(c loops.Charge) string {
	if c.Mass == nil || !c.Fluid.IsGlycol() {
		return c.Fluid.Name()
	}
	return c.Fluid.Name() + " " + c.Mass.String()
}
