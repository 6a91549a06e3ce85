// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import "fillmark/loops"

// Flush rinses a loop with water.
type Flush struct{ Doing }

func flushAct() Definition {
	return define(Definition{
		Name: "flush", Done: "Flushed", Kind: loops.KindFlush,
		Short:    "Flush the loop with water until it runs clear",
		Examples: []string{`7K3QXW --note "both ways, 12 µS/cm at the end"`},
	}, fields[Flush]{}, func(loops.Entry) Flush { return Flush{} })
}

// Kind is flush.
func (a *Flush) Kind() loops.EntryKind { return loops.KindFlush }

// Check admits any flush.
func (a *Flush) Check(Snapshot, loops.Day) error { return nil }

// Judge finds nothing: nothing speaks against water.
func (a *Flush) Judge(Snapshot, loops.Day) []Reason { return nil }

// Apply rinses it.
func (a *Flush) Apply(_ Snapshot, today loops.Day) loops.Change {
	return loops.Change{Entries: []loops.Entry{a.entry(loops.KindFlush, today)}}
}
