// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"fillmark/chemistry"
	"fillmark/loops"
)

// Drain empties a loop.
type Drain struct {
	Doing
	loops.Drain
}

func drainAct() Definition {
	return define(Definition{
		Name: "drain", Done: "Drained", Kind: loops.KindDrain,
		Short:    "Drain the loop; what comes out goes into the used-fluid log",
		Examples: []string{`7K3QXW --out 440ml --left 25ml --hazard "glycol, traces of copper" --went "drum 2"`},
	}, fields[Drain]{
		one(Field{Name: "out", Label: "came out", Help: "how much came out", Example: "440ml"}, volume(), func(a *Drain) *chemistry.Litre { return &a.Out }),
		one(Field{Name: "left", Label: "left inside", Help: "how much is left in the loop, as weighed", Example: "25ml"}, volume(), func(a *Drain) *chemistry.Litre { return &a.Left }),
		one(Field{Name: "hazard", Label: "in it", Help: "what is in what came out"}, words(), func(a *Drain) *string { return &a.Hazard }),
		one(Field{Name: "went", Also: []string{"disposal"}, Label: "used liquid", Help: "where it went or is kept", Example: `"drum 2"`}, words(), func(a *Drain) *string { return &a.Disposal }),
	}, func(e loops.Entry) Drain { return Drain{Drain: *e.Drain} })
}

// Check asks where used liquid went.
func (a *Drain) Check(Snapshot, loops.Day) error { return kept(a.Out, a.Disposal) }

// kept refuses used liquid that went nobody says where.
func kept(out chemistry.Litre, went string) error {
	if out > 0 && went == "" {
		return wrong("went", "", "where the used liquid went or is kept, such as drum 2")
	}
	return nil
}

// Apply empties it.
func (a *Drain) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindDrain, Drain: &a.Drain}, today)
}
