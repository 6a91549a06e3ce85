// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// liquidRows is how many liquids a form has room for.
const liquidRows = 3

// liquidRow names the fields of one liquid at hand.
type liquidRow struct {
	Number                   int
	Liquid, Strength, Amount string
}

func rowsOfLiquids() []liquidRow {
	rows := make([]liquidRow, liquidRows)
	for i := range rows {
		n := strconv.Itoa(i + 1)
		rows[i] = liquidRow{i + 1, "liquid" + n, "strength" + n, "amount" + n}
	}
	return rows
}

// containerChoice is the value of a container in a list of liquids.
const containerChoice = "container:"

// liquidChoices lists what can be at hand: liquids by name, then the
// containers on the shelf that hold a coolant or water.
func (s *server) liquidChoices(file *workshop.File) ([]choice, error) {
	shelf, err := s.shelfOf(file)
	all := []choice{
		{Label: "none"}, {Value: "water", Label: "dilution water"}, {Value: "tap", Label: "tap water"},
		{Value: "eg", Label: "ethylene glycol"}, {Value: "pg", Label: "propylene glycol"}, {Value: "deionised", Label: "deionised water"},
	}
	for _, c := range shelf {
		if c.Fluid == "" || c.Left <= 0 {
			continue
		}
		label := fmt.Sprintf("No. %d %s", c.ID, c.Product)
		if mass, _ := c.Strength(); mass != nil && c.Fluid.IsGlycol() {
			label += fmt.Sprintf(", %s %.0f\u00a0mass\u00a0%%", strings.ToUpper(string(c.Fluid)), mass.Percent())
		}
		all = append(all, choice{Value: containerChoice + strconv.FormatUint(uint64(c.ID), 10), Label: label + ", " + quantity(c.Left) + " left"})
	}
	return all, err
}

// shelfOf is what is on the shelf: as it was read with a loop, or read now.
func (s *server) shelfOf(file *workshop.File) ([]loops.Container, error) {
	if file != nil && file.Shelf != nil {
		return file.Shelf, nil
	}
	all, err := gather(s.Reader.Containers())
	return all.Items, err
}

// handLiquid is one liquid at hand and where it comes from.
type handLiquid struct {
	workshop.Hand
	Poured string // as a top-up names it: a container's number, water, pg:95%
}

// liquidsAtHand reads the rows that are filled in.
func (s *server) liquidsAtHand(f *form, file *workshop.File) ([]handLiquid, error) {
	var all []handLiquid
	for _, row := range rowsOfLiquids() {
		chosen := f.text(row.Liquid)
		if chosen == "" {
			continue
		}
		hand, err := s.liquidAtHand(f, file, row, chosen)
		if err != nil {
			return nil, err
		}
		if amount := mayRead(f, row.Amount, "ml", chemistry.ParseLitre); amount != nil && *amount > 0 {
			hand.Available = *amount
		}
		all = append(all, hand)
	}
	return all, nil
}

func (s *server) liquidAtHand(f *form, file *workshop.File, row liquidRow, chosen string) (handLiquid, error) {
	hand := handLiquid{Poured: chosen}
	if number, ok := strings.CutPrefix(chosen, containerChoice); ok {
		id, err := loops.ParseContainer(number)
		if err != nil {
			f.blame(row.Liquid, "one of the list")
			return hand, nil
		}
		find := s.Workshop.Container
		if file != nil {
			find = file.Container
		}
		c, err := find(id)
		if err != nil {
			return hand, err
		}
		hand.Poured = number
		var ok bool
		if hand.Hand, ok = workshop.AtHand(c); !ok {
			f.blame(row.Liquid, "a container whose strength or label is on record")
		}
		return hand, nil
	}
	strength := mayRead(f, row.Strength, "%", chemistry.ParseMassPercent)
	text := chosen
	if strength != nil && *strength > 0 {
		text += ":" + strconv.FormatFloat(strength.Percent(), 'f', -1, 64) + "%"
	}
	hand.Poured = text
	var err error
	if hand.Liquid, err = chemistry.ParseLiquid(text, ""); err != nil {
		name := row.Liquid
		if f.problems[row.Strength] == "" && chemistry.Fluid(chosen).IsGlycol() {
			name = row.Strength
		}
		f.blame(name, "by its label, such as 95; none in water")
		return hand, nil
	}
	if hand.Fluid.IsGlycol() { // two strengths of one glycol can stand on one bench
		hand.Name += fmt.Sprintf(" of %.4g\u00a0mass\u00a0%%", hand.Mass.Percent())
	}
	return hand, nil
}
