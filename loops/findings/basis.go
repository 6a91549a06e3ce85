// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"fmt"
	"strings"
)

// Basis is what an answer rests on.
type Basis struct {
	N          int     `json:"n"`
	Failures   int     `json:"failures"`
	UnderWatch float64 `json:"under_watch"` // sum over the loops, in the unit of the ages: loop-months in the register
	Exact      int     `json:"exact"`       // failed at a known age
	Interval   int     `json:"interval"`    // failed between two inspections
	Left       int     `json:"left"`        // found failed at the first opening
	Right      int     `json:"right"`       // good when last inspected
	LateEntry  int     `json:"late_entry"`  // not watched since the fill
}

// Basis counts what the lives are. A loop found failed was under watch until
// it was last known good.
func (l Lives) Basis() Basis {
	var b Basis
	for i := range l.rows {
		r := &l.rows[i]
		b.N += r.count
		b.UnderWatch += float64(r.count) * (r.lower - r.entry)
		if r.entry > 0 {
			b.LateEntry += r.count
		}
		switch r.kind() {
		case Exact:
			b.Exact += r.count
		case Interval:
			b.Interval += r.count
		case Left:
			b.Left += r.count
		case Right:
			b.Right += r.count
		}
	}
	b.Failures = b.N - b.Right
	return b
}

// String is the basis in words.
func (b Basis) String() string {
	parts := []string{}
	for _, p := range []struct {
		n    int
		what string
	}{
		{b.Exact, "failed at a known age"}, {b.Interval, "failed between two inspections"}, {b.Left, "found failed at the first opening"},
		{b.Right, "good when last inspected"}, {b.LateEntry, "not watched since the fill"},
	} {
		if p.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", p.n, p.what))
		}
	}
	lives := "lives"
	if b.N == 1 {
		lives = "life"
	}
	return fmt.Sprintf("%d %s: %s", b.N, lives, strings.Join(parts, ", "))
}
