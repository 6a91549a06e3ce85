// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import "fillmark/cmd/fillmark/workshop"

// sentence is something that says itself in one line.
type sentence interface{ Sentence() string }

// printMorning prints what a day asks for beside the tasks that are due.
func printMorning(p *printer, m workshop.Morning) {
	printSentences(p, "Promised back", m.Promised)
	printSentences(p, "Bring", m.Bring)
	printSentences(p, "Containers out of date", m.Containers)
	printSentences(p, "Instruments to check", m.Instruments)
}

func printSentences[T sentence](p *printer, title string, of []T) {
	if len(of) > 0 {
		p.line("▐ %s", title)
	}
	for _, x := range of {
		p.paragraph("  ", "    ", x.Sentence())
	}
}
