// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package backups

import (
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
)

// Keep says how many backups stay: the newest of each of so many days, weeks
// (ISO 8601) and months that have one. Counting those that have one, and not
// days of the calendar, a house that makes none any more loses none either.
// Each is 0 or more; the newest backup always stays.
type Keep struct{ Days, Weeks, Months int }

// Stale lists those of the backups, each by the instant it was made, that no
// rule keeps, the oldest first. Days are those of the zone.
func (k Keep) Stale(made []time.Time, zone *time.Location) []time.Time {
	made = slices.SortedFunc(slices.Values(made), func(a, b time.Time) int { return b.Compare(a) })
	kept := map[int]bool{0: true}
	for _, rule := range []struct {
		count  int
		period func(time.Time) string
	}{
		{k.Days, func(t time.Time) string { return t.Format(time.DateOnly) }},
		{k.Weeks, func(t time.Time) string { year, week := t.ISOWeek(); return fmt.Sprint(year, " ", week) }},
		{k.Months, func(t time.Time) string { return t.Format("2006-01") }},
	} {
		last, found := "", 0
		for i, t := range made {
			period := rule.period(t.In(zone))
			if period == last {
				continue
			}
			if last = period; found < rule.count {
				kept[i] = true
			}
			found++
		}
	}
	var stale []time.Time
	for i, t := range slices.Backward(made) {
		if !kept[i] {
			stale = append(stale, t)
		}
	}
	return stale
}

// mostAhead bounds how many backups to come are thought of, for a schedule that
// makes many a day.
const mostAhead = 6000

// Gone is the day on which each of the backups is rotated out where those to come
// are made as next says, each after the one before. One that is not in it stays
// for longer than can be said.
func (k Keep) Gone(made []time.Time, next func(time.Time) time.Time, zone *time.Location) map[time.Time]loops.Day {
	gone := map[time.Time]loops.Day{}
	if len(made) == 0 {
		return gone
	}
	there, ours := slices.Clone(made), map[time.Time]bool{}
	for _, t := range made {
		ours[t] = true
	}
	at := slices.MaxFunc(there, time.Time.Compare)
	for range mostAhead {
		if at = next(at); at.IsZero() {
			return gone
		}
		there = append(there, at)
		for _, t := range k.Stale(there, zone) {
			if there = slices.DeleteFunc(there, t.Equal); ours[t] {
				gone[t] = loops.DayOf(at, zone)
			}
		}
		if len(gone) == len(ours) {
			break
		}
	}
	return gone
}
