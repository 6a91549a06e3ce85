// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"maps"
	"slices"
	"strings"

	"fillmark/loops"
)

// Differs names the first field in which an act says something else than the
// entry on record; empty where both say the same. A day that was not said is
// the day of the entry.
func Differs(d Definition, a Act, e loops.Entry, s Snapshot) string {
	return firstDifference(saidOf(d, d.of(e)), saidOf(d, applied(a, s.asOf(e), e.Day)))
}

// asOf is the snapshot as the act of an entry found it.
func (s Snapshot) asOf(e loops.Entry) Snapshot {
	s.History = slices.DeleteFunc(slices.Clone(s.History), func(x loops.Entry) bool { return x.ID >= e.ID })
	s.Loop.State, s.Loop.LastEntry = loops.Fold(s.History), e.ID-1
	return s
}

// applied is the act as its entry would say it, with everything completed.
func applied(a Act, s Snapshot, today loops.Day) Act {
	change := a.Apply(s, today)
	if len(change.Entries) != 1 {
		return a
	}
	was, _ := Entered(change.Entries[0])
	was.doing().Already, was.doing().Overrule = a.doing().Already, a.doing().Overrule
	return was
}

// saidOf is what an act says of what was done: how it was sent does not
// count.
func saidOf(d Definition, a Act) Said {
	said := maps.Clone(d.Say(a))
	for _, name := range []string{"key", "already-done", "overrule"} {
		delete(said, name)
	}
	return said
}

func firstDifference(a, b Said) string {
	names := slices.Sorted(maps.Keys(a))
	names = append(names, slices.Sorted(maps.Keys(b))...)
	for _, name := range names {
		if strings.Join(a[name], "\x00") != strings.Join(b[name], "\x00") {
			return name
		}
	}
	return ""
}
