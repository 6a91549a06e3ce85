// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"fillmark/chemistry"
	"fillmark/loops"
)

// Recall lists every loop that a lot went into, with whom to call.
type Recall struct {
	Lot        string            `json:"lot"`
	Containers []loops.Container `json:"containers"`
	Lines      []RecallLine      `json:"lines"`
}

// RecallLine is one pour of the lot into a loop, or a charge that carries the
// lot without a container.
type RecallLine struct {
	Tag     loops.Tag       `json:"tag"`
	Machine string          `json:"machine"`
	Owner   loops.OwnerID   `json:"owner,omitempty"`
	Name    string          `json:"owner_name,omitempty"`
	Phone   string          `json:"phone,omitempty"`
	Email   string          `json:"email,omitempty"`
	Day     loops.Day       `json:"day"`
	Volume  chemistry.Litre `json:"volume_l,omitempty"`
	// Container is zero where only the charge's record names the lot.
	Container loops.ContainerID `json:"container,omitempty"`
	// StillIn tells that the loop was not filled again or drained since.
	StillIn bool `json:"still_in"`
}

// RecallOf lists where a lot went. A lot that is nowhere on record is an error
// that matches loops.ErrNotFound.
func (w *Workshop) RecallOf(lot string) (Recall, error) {
	recall := Recall{Lot: strings.TrimSpace(lot), Containers: []loops.Container{}, Lines: []RecallLine{}}
	if recall.Lot == "" {
		return recall, wrong("lot", lot, "the lot as it is on the label")
	}
	poured := map[loops.LoopID]loops.Day{} // last
	var into []loops.LoopID                // of each line
	for c, err := range w.register.Containers() {
		if err != nil {
			return recall, err
		}
		if !strings.EqualFold(c.Lot, recall.Lot) {
			continue
		}
		recall.Containers = append(recall.Containers, c)
		for _, use := range c.Uses {
			if poured[use.Loop].Before(use.Day) {
				poured[use.Loop] = use.Day
			}
			line := RecallLine{Day: use.Day, Volume: use.Volume, Container: c.ID}
			into, recall.Lines = append(into, use.Loop), append(recall.Lines, line)
		}
	}
	for l, err := range w.register.Loops() {
		if err != nil {
			return recall, err
		}
		charge := l.State.Charge
		if charge != nil && strings.EqualFold(charge.Lot, recall.Lot) && poured[l.ID].Before(charge.FilledTo) {
			into, recall.Lines = append(into, l.ID), append(recall.Lines, RecallLine{Day: charge.FilledTo, Volume: charge.Volume})
		}
	}
	if len(recall.Containers)+len(recall.Lines) == 0 {
		return recall, fmt.Errorf("lot %s: %w", recall.Lot, loops.ErrNotFound)
	}
	if err := w.completeRecall(recall.Lines, into); err != nil {
		return recall, err
	}
	slices.SortStableFunc(recall.Lines, func(a, b RecallLine) int {
		return cmp.Or(a.Day.Compare(b.Day), cmp.Compare(a.Tag, b.Tag))
	})
	return recall, nil
}

// completeRecall adds to lines what is on record about the loop of each.
func (w *Workshop) completeRecall(lines []RecallLine, into []loops.LoopID) error {
	found, err := w.register.LoopsWith(into)
	if err != nil {
		return err
	}
	placed, err := w.placed(slices.Collect(maps.Values(found)))
	if err != nil {
		return err
	}
	of := map[loops.LoopID]Placed{}
	for _, is := range placed {
		of[is.ID] = is
	}
	for i := range lines {
		is, there := of[into[i]]
		if !there {
			return fmt.Errorf("loop %d: %w", into[i], loops.ErrNotFound)
		}
		line, charge := &lines[i], is.State.Charge
		line.Tag, line.Machine, line.Owner = is.Tag, is.Machine.Name, is.Machine.Owner
		line.Name, line.Phone, line.Email = is.Owner.Name, is.Owner.Phone, is.Owner.Email
		line.StillIn = charge != nil && !line.Day.Before(charge.FilledTo)
	}
	return nil
}

// byItsLabel says where a product freezes by the lines of its own label, in the
// label's own per cent.
func byItsLabel(c loops.Container) string {
	var parts []string
	product := c.ByLabel()
	for _, pair := range c.Pairs {
		if pair.Freeze == nil || product == nil {
			continue
		}
		if at, err := product.At(pair.Strength); err == nil {
			parts = append(parts, fmt.Sprintf("%s of it %s ± %s", pair.Strength, at.Freeze.Stated, at.Freeze.Uncertainty))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "First ice by its own label: " + strings.Join(parts, "; ")
}

// ContainerLabel is what is written on a container, line by line.
func ContainerLabel(c loops.Container) []string {
	lines := []string{fmt.Sprintf("No. %d, %s", c.ID, c.Product)}
	if c.Lot != "" {
		lines = append(lines, "Lot "+c.Lot)
	}
	if c.Fluid != "" {
		words := c.Fluid.Name()
		if c.Mass != nil && c.Fluid.IsGlycol() {
			words += ", " + c.Mass.String()
			if freeze, err := chemistry.FreezePoint(c.Fluid, *c.Mass); err == nil {
				words += fmt.Sprintf(", first ice %s ± %s", freeze.Stated, freeze.Uncertainty)
			}
		}
		lines = append(lines, words)
		if words := byItsLabel(c); words != "" {
			lines = append(lines, words)
		}
	}
	for _, d := range []struct {
		word string
		day  loops.Day
	}{{"Mixed", c.Mixed}, {"Opened", c.Opened}, {"Use by", c.Expires}} {
		if !d.day.IsZero() {
			lines = append(lines, d.word+" "+d.day.Long())
		}
	}
	if c.Fluid == "" {
		return append(lines, "Handle by the safety data sheet of the product.")
	}
	for _, caution := range chemistry.Cautions(chemistry.Contents{Fluid: c.Fluid, Mass: c.Mass}) {
		lines = append(lines, strings.TrimSpace(caution.Signal+" "+caution.Text))
	}
	return lines
}
