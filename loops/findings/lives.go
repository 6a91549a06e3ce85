// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"math"
	"slices"
)

// Lives is a checked set of lives, equal ones merged. The zero value is an
// empty set.
type Lives struct {
	rows []Life // rising by Lower, Upper, Entry, Cause, Group; no two alike but in Count
}

// NewLives checks the rows and merges equal ones. Values are never rounded.
// The error is an *InvalidError for the first row that cannot be right; its
// Line is the row's place, from 1.
func NewLives(rows []Life) (Lives, error) {
	for i, l := range rows {
		if bad := l.check(); bad != nil {
			bad.Line = i + 1
			return Lives{}, bad
		}
	}
	return merge(rows), nil
}

// merge sorts checked rows and adds up the counts of equal ones.
func merge(rows []Life) Lives {
	causes, groups := ranks(rows, func(l *Life) string { return l.Cause }), ranks(rows, func(l *Life) string { return l.Group })
	columns := []func(int) uint64{
		func(i int) uint64 { return math.Float64bits(rows[i].Lower + 0) }, // + 0 turns -0 into 0
		func(i int) uint64 { return math.Float64bits(rows[i].Upper) },
		func(i int) uint64 { return math.Float64bits(rows[i].Entry + 0) },
	}
	if causes != nil {
		columns = append(columns, func(i int) uint64 {
			if !rows[i].Failed() {
				return 0 // nothing has caused anything yet
			}
			return causes[rows[i].Cause]
		})
	}
	if groups != nil {
		columns = append(columns, func(i int) uint64 { return groups[rows[i].Group] })
	}
	out := make([]Life, 0, min(len(rows), 1<<16))
	for _, i := range order(len(rows), columns) {
		l := rows[i]
		l.Lower, l.Entry = l.Lower+0, l.Entry+0
		if !l.Failed() {
			l.Cause = ""
		}
		if last := len(out) - 1; last >= 0 && alike(out[last], l) {
			out[last].Count += l.Count
			continue
		}
		out = append(out, l)
	}
	return Lives{rows: out}
}

// alike reports whether two lives differ in Count at most.
func alike(a, b Life) bool {
	return a.Lower == b.Lower && a.Upper == b.Upper && a.Entry == b.Entry && a.Cause == b.Cause && a.Group == b.Group
}

// ranks numbers the distinct names in alphabetical order; nil if there is
// only one.
func ranks(rows []Life, name func(*Life) string) map[string]uint64 {
	seen := map[string]uint64{}
	last := ""
	for i := range rows {
		n := name(&rows[i])
		if i > 0 && n == last {
			continue
		}
		seen[n], last = 0, n
	}
	if len(seen) < 2 {
		return nil
	}
	names := make([]string, 0, len(seen))
	for n := range seen {
		names = append(names, n)
	}
	slices.Sort(names)
	for i, n := range names {
		seen[n] = uint64(i)
	}
	return seen
}

// Rows returns a copy of the merged lives, rising by Lower, then Upper.
func (l Lives) Rows() []Life { return slices.Clone(l.rows) }

// N is the number of lives.
func (l Lives) N() int { return l.sum(func(*Life) bool { return true }) }

// Failures is the number of lives that ended in a failure of any cause.
func (l Lives) Failures() int { return l.sum(func(r *Life) bool { return r.Failed() }) }

// sum adds the counts of the rows that fit.
func (l Lives) sum(fits func(*Life) bool) int {
	n := 0
	for i := range l.rows {
		if fits(&l.rows[i]) {
			n += l.rows[i].Count
		}
	}
	return n
}

// Groups returns the names of the groups, sorted.
func (l Lives) Groups() []string {
	return l.names(func(r *Life) (string, bool) { return r.Group, true })
}

// Causes returns the causes of the failures, sorted; an unnamed cause is "".
func (l Lives) Causes() []string {
	return l.names(func(r *Life) (string, bool) { return r.Cause, r.Failed() })
}

func (l Lives) names(of func(*Life) (string, bool)) []string {
	var out []string
	for i := range l.rows {
		name, counts := of(&l.rows[i])
		if at, found := slices.BinarySearch(out, name); counts && !found {
			out = slices.Insert(out, at, name)
		}
	}
	return out
}

// InGroup returns the lives of one group.
func (l Lives) InGroup(name string) Lives {
	var out []Life
	for _, r := range l.rows {
		if r.Group == name {
			out = append(out, r)
		}
	}
	return Lives{rows: out}
}

// ForCause looks at one cause alone: a life that another cause ended was good
// for this one at its Lower, and nothing is known of it afterwards.
func (l Lives) ForCause(cause string) Lives {
	rows := l.Rows()
	for i := range rows {
		if rows[i].Failed() && rows[i].Cause != cause {
			rows[i].Upper = math.Inf(1)
		}
	}
	return merge(rows)
}

// has reports whether any life is of the kind.
func (l Lives) has(k Kind) bool {
	return slices.ContainsFunc(l.rows, func(r Life) bool { return r.Kind() == k })
}

// lateEntry reports whether any loop joined the record already aged.
func (l Lives) lateEntry() bool {
	return slices.ContainsFunc(l.rows, func(r Life) bool { return r.Entry > 0 })
}

// oldest is the largest age at which anything is known of any loop.
func (l Lives) oldest() float64 {
	age := 0.0
	for _, r := range l.rows {
		age = max(age, r.Lower)
		if r.Failed() {
			age = max(age, r.Upper)
		}
	}
	return age
}
