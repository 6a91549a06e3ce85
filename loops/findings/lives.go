// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"math"
	"slices"
)

// Lives is a checked set of lives, equal ones merged. The zero value is an
// empty set.
type Lives struct {
	rows           []row    // rising by lower, upper, entry, cause, group; no two alike but in count
	causes, groups []string // sorted; rows hold places in them
}

// row is a Life with numbers for names. Without pointers a million of them
// cost the garbage collector nothing.
type row struct {
	lower, upper, entry float64
	count               int
	cause, group        int32
}

func (r *row) kind() Kind   { return kindOf(r.lower, r.upper) }
func (r *row) failed() bool { return !math.IsInf(r.upper, 1) }

// watched reports whether the loop was under observation for any time at all;
// one that joined late and was never seen again was not.
func (r *row) watched() bool { return r.entry == 0 || r.entry < r.lower || r.failed() }

// NewLives checks the rows and merges equal ones. Values are never rounded.
// The error is an *InvalidError for the first row that cannot be right; its
// Line is the row's place, from 1.
func NewLives(rows []Life) (Lives, error) {
	var causes, groups interner
	out := make([]row, 0, len(rows))
	for i := range rows {
		l := &rows[i]
		if bad := l.check(); bad != nil {
			bad.Line = i + 1
			return Lives{}, bad
		}
		r := row{lower: l.Lower + 0, upper: l.Upper, entry: l.Entry + 0, count: l.Count, group: groups.place(l.Group)} // + 0 turns -0 into 0
		if l.Failed() {
			r.cause = causes.place(l.Cause)
		}
		out = append(out, r)
	}
	return merge(out, causes.names, groups.names), nil
}

// merge sorts the names and the rows, and adds up the counts of equal rows.
func merge(rows []row, causes, groups []string) Lives {
	l := Lives{causes: slices.Sorted(slices.Values(causes)), groups: slices.Sorted(slices.Values(groups))}
	toCause, toGroup := places(causes, l.causes), places(groups, l.groups)
	for i := range rows {
		if r := &rows[i]; r.failed() {
			r.cause = toCause[r.cause]
		} else {
			r.cause = 0 // nothing has caused anything yet
		}
		rows[i].group = toGroup[rows[i].group]
	}
	ages := make([]keyed, len(rows))
	for i, r := range rows {
		ages[i] = keyed{math.Float64bits(r.lower), i} // without a sign they sort as they are
	}
	sorted := make([]row, len(rows))
	for i, it := range order(ages) {
		sorted[i] = rows[it.row]
	}
	sortRuns(sorted)
	l.rows = rows[:0]
	for _, r := range sorted {
		if last := len(l.rows) - 1; last >= 0 && alike(&l.rows[last], &r) {
			l.rows[last].count += r.count
			continue
		}
		l.rows = append(l.rows, r)
	}
	if len(l.rows) < len(rows)/2 {
		l.rows = slices.Clone(l.rows) // and let the rest go
	}
	return l
}

// sortRuns sorts rows of one lower age, which stand together, by all else.
func sortRuns(rows []row) {
	for from, to := 0, 0; from < len(rows); from = to {
		for to = from + 1; to < len(rows) && rows[to].lower == rows[from].lower; to++ {
		}
		slices.SortFunc(rows[from:to], func(a, b row) int {
			return cmp.Or(cmp.Compare(a.upper, b.upper), cmp.Compare(a.entry, b.entry), cmp.Compare(a.cause, b.cause), cmp.Compare(a.group, b.group))
		})
	}
}

// alike reports whether two rows differ in count at most.
func alike(a, b *row) bool {
	return a.lower == b.lower && a.upper == b.upper && a.entry == b.entry && a.cause == b.cause && a.group == b.group
}

// interner numbers names in the order in which they come.
type interner struct {
	names []string
	seen  map[string]int32
}

func (n *interner) place(name string) int32 {
	if i, ok := n.seen[name]; ok {
		return i
	}
	if n.seen == nil {
		n.seen = map[string]int32{}
	}
	n.names = append(n.names, name)
	n.seen[name] = int32(len(n.names) - 1)
	return n.seen[name]
}

// places tells where each name is among the sorted ones.
func places(names, sorted []string) []int32 {
	out := make([]int32, len(names))
	for i, name := range names {
		at, _ := slices.BinarySearch(sorted, name)
		out[i] = int32(at)
	}
	return out
}

// Rows returns the merged lives, rising by Lower, then Upper.
func (l Lives) Rows() []Life {
	out := make([]Life, len(l.rows))
	for i := range l.rows {
		r := &l.rows[i]
		out[i] = Life{Lower: r.lower, Upper: r.upper, Entry: r.entry, Count: r.count, Group: l.groups[r.group]}
		if r.failed() {
			out[i].Cause = l.causes[r.cause]
		}
	}
	return out
}

// N is the number of lives.
func (l Lives) N() int { return l.sum(func(*row) bool { return true }) }

// Failures is the number of lives that ended in a failure of any cause.
func (l Lives) Failures() int { return l.sum((*row).failed) }

// sum adds the counts of the rows that fit.
func (l Lives) sum(fits func(*row) bool) int {
	n := 0
	for i := range l.rows {
		if fits(&l.rows[i]) {
			n += l.rows[i].count
		}
	}
	return n
}

// Groups returns the names of the groups, sorted.
func (l Lives) Groups() []string { return slices.Clone(l.groups) }

// Causes returns the causes of the failures, sorted; an unnamed cause is "".
func (l Lives) Causes() []string { return slices.Clone(l.causes) }

// InGroup returns the lives of one group.
func (l Lives) InGroup(name string) Lives {
	at, found := slices.BinarySearch(l.groups, name)
	if !found {
		return Lives{}
	}
	var out []row
	for _, r := range l.rows {
		if r.group == int32(at) {
			r.group = 0
			out = append(out, r)
		}
	}
	return merge(out, l.causesOf(out), []string{name})
}

// causesOf renumbers the causes of some rows, so that none is listed which
// none of them has.
func (l Lives) causesOf(rows []row) []string {
	var n interner
	for i := range rows {
		if r := &rows[i]; r.failed() {
			r.cause = n.place(l.causes[r.cause])
		}
	}
	return n.names
}

// has reports whether any life is of the kind.
func (l Lives) has(k Kind) bool {
	for i := range l.rows {
		if l.rows[i].kind() == k {
			return true
		}
	}
	return false
}

// lateEntry reports whether any loop joined the record already aged.
func (l Lives) lateEntry() bool {
	for i := range l.rows {
		if l.rows[i].entry > 0 {
			return true
		}
	}
	return false
}

// oldest is the largest age at which anything is known of any loop.
func (l Lives) oldest() float64 {
	age := 0.0
	for _, r := range l.rows {
		age = max(age, r.lower)
		if r.failed() {
			age = max(age, r.upper)
		}
	}
	return age
}
