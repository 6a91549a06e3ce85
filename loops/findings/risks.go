// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"math"
	"slices"
)

// risk is one age at which lives end, with who was at risk just before.
type risk struct {
	age                        float64
	atRisk, failures, censored int
	joined                     []row // the rows that came under observation since the age before
	ended                      []row // the rows that end here
}

// risks walks through the ages at which lives end, from start on. Failures
// count before those censored at the same age.
func (l Lives) risks(start float64) func(yield func(risk) bool) {
	return func(yield func(risk) bool) {
		entered := l.entries()
		here, joined, next := 0, 0, 0 // under observation; entries told of, and gone by
		for from := 0; from < len(l.rows); {
			at := risk{age: l.rows[from].lower}
			to := from
			for ; to < len(l.rows) && l.rows[to].lower == at.age; to++ {
				switch r := &l.rows[to]; {
				case r.failed():
					at.failures += r.count
				case r.watched():
					at.censored += r.count
				}
			}
			for ; next < len(entered) && entered[next].entry < max(at.age, math.SmallestNonzeroFloat64); next++ {
				here += entered[next].count
			}
			at.joined = entered[joined:next]
			at.atRisk, at.ended = here, l.rows[from:to]
			here -= at.failures + at.censored
			from = to
			if at.failures+at.censored == 0 || start > 0 && at.age <= start {
				continue
			}
			joined = next
			if !yield(at) {
				return
			}
		}
	}
}

// entries returns the rows that were watched for a while, rising by the age
// of entry.
func (l Lives) entries() []row {
	if !l.lateEntry() {
		return l.rows
	}
	var out []row
	for _, r := range l.rows {
		if r.watched() {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(a, b row) int { return cmp.Compare(a.entry, b.entry) })
	return out
}

// start is the age from which on shares are told where loops joined late: the
// last age of an ending, before the risk set is largest, at which fewer than
// FewAtRisk were at risk. It is 0 if there is none, or if none joined late.
func (l Lives) start() float64 {
	if !l.lateEntry() {
		return 0
	}
	var all []risk
	largest := 0
	for at := range l.risks(0) {
		if all = append(all, at); at.atRisk > all[largest].atRisk {
			largest = len(all) - 1
		}
	}
	if len(all) == 0 || all[largest].atRisk < FewAtRisk {
		return 0
	}
	first := largest
	for first > 0 && all[first-1].atRisk >= FewAtRisk {
		first--
	}
	if first == 0 {
		return 0
	}
	return all[first-1].age
}
