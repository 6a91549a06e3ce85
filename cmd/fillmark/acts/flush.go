// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Flush rinses a loop with water.
type Flush struct{ Doing }

func flushAct() Definition {
	return define(Definition{
		Name: "flush", Done: "Flushed", Kind: loops.KindFlush,
		Short:    "Flush the loop with water until it runs clear",
		Examples: []string{`7K3QXW --note "both ways, 12 µS/cm at the end"`},
	}, fields[Flush]{}, func(loops.Entry) Flush { return Flush{} })
}

// Judge minds a loop that is full: only what was left in a drained one is
// rinsed out.
func (a *Flush) Judge(s Snapshot, today loops.Day) []Reason {
	if s.On(a.on(today)).Charge == nil {
		return nil
	}
	return []Reason{byRecord("not-drained", chemistry.Care, "the loop is on record as full, so nothing counts as rinsed out.",
		"Drain it first; where that was done, record the drain for the day it was done, and then the flush.")}
}

// Apply rinses it.
func (a *Flush) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindFlush}, today)
}
