// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"fmt"
	"strings"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// printMorning prints what a day asks for beside the tasks that are due.
func printMorning(p *printer, m workshop.Morning) {
	section := func(title string, n int, line func(int) string) {
		if n > 0 {
			p.line("▐ %s", title)
		}
		for i := range n {
			p.paragraph("  ", "    ", line(i))
		}
	}
	section("Promised back", len(m.Promised), func(i int) string {
		x := m.Promised[i]
		return fmt.Sprintf("%s, %s (%s): %s%s", x.Machine, x.Owner, orWord(x.Phone, "no telephone on record"), x.Day.Long(), over(x.OverdueDays))
	})
	section("Bring", len(m.Bring), func(i int) string {
		x := m.Bring[i]
		amount := "an unknown amount"
		if x.Volume > 0 {
			amount = x.Volume.String()
		}
		return fmt.Sprintf("%s of %s for %s: %s", amount, x.What, tags(x.For), x.Note)
	})
	section("Containers out of date", len(m.Containers), func(i int) string {
		x := m.Containers[i]
		return fmt.Sprintf("%s %s, %s left: %s%s", x.Product, x.Lot, x.Left, x.Expires.Long(), over(x.OverdueDays))
	})
	section("Instruments to check", len(m.Instruments), func(i int) string {
		x := m.Instruments[i]
		if x.Checked.IsZero() {
			return fmt.Sprintf("%s (%s): never checked", x.Name, x.Kind)
		}
		return fmt.Sprintf("%s (%s): last checked %s", x.Name, x.Kind, x.Checked.Long())
	})
}

func over(days int) string {
	if days <= 0 {
		return ""
	}
	return " (" + plural(days, "day") + " over)"
}

func orWord(text, none string) string {
	if text == "" {
		return none
	}
	return text
}

func tags(of []loops.Tag) string {
	texts := make([]string, len(of))
	for i, tag := range of {
		texts[i] = string(tag)
	}
	return strings.Join(texts, ", ")
}
