// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package backups_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/cmd/fillmark/backups"
	"fillmark/loops"
)

func daily(t time.Time) time.Time { return t.AddDate(0, 0, 1) }

// Two years of nights, one backup each: what then stays is what anybody can count
// on a calendar.
func TestAYearOfNights(t *testing.T) {
	keep := backups.Keep{Days: 3, Weeks: 2, Months: 3}
	var there []time.Time
	for at := time.Date(2025, 1, 1, 2, 30, 0, 0, time.UTC); at.Before(time.Date(2026, 12, 4, 0, 0, 0, 0, time.UTC)); at = daily(at) {
		there = append(there, at)
		for _, gone := range keep.Stale(there, time.UTC) {
			there = slices.DeleteFunc(there, gone.Equal)
		}
	}
	var days []string
	for _, at := range there {
		days = append(days, at.Format(time.DateOnly))
	}
	// Thursday the 3rd is the newest. Its week began on 30 November, so the week
	// before ends on Sunday the 29th; October and November end on their last days.
	assert.Equal(t, []string{"2026-10-31", "2026-11-29", "2026-11-30", "2026-12-01", "2026-12-02", "2026-12-03"}, days)
}

// Whatever is there: the newest stays, each of the last days that have one keeps
// its newest, no more stay than the rules count, and a second look takes nothing.
func TestRotationKeepsWhatItSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keep := backups.Keep{Days: rapid.IntRange(0, 8).Draw(t, "days"), Weeks: rapid.IntRange(0, 5).Draw(t, "weeks"), Months: rapid.IntRange(0, 14).Draw(t, "months")}
		begin := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
		made := rapid.SliceOfNDistinct(rapid.Custom(func(t *rapid.T) time.Time {
			return begin.Add(time.Duration(rapid.IntRange(0, 900*24).Draw(t, "hour")) * time.Hour)
		}), 0, 60, func(at time.Time) int64 { return at.Unix() }).Draw(t, "made")
		stale := keep.Stale(made, time.UTC)
		var stays []time.Time
		for _, at := range made {
			if !slices.ContainsFunc(stale, at.Equal) {
				stays = append(stays, at)
			}
		}
		if len(made) == 0 {
			assert.Empty(t, stale)
			return
		}
		assert.Contains(t, stays, slices.MaxFunc(made, time.Time.Compare))
		assert.LessOrEqual(t, len(stays), 1+keep.Days+keep.Weeks+keep.Months)
		newest := map[string]time.Time{}
		for _, at := range made {
			if day := at.Format(time.DateOnly); at.After(newest[day]) {
				newest[day] = at
			}
		}
		var days []string
		for day := range newest {
			days = append(days, day)
		}
		slices.Sort(days)
		for _, day := range days[max(0, len(days)-keep.Days):] {
			assert.Contains(t, stays, newest[day])
		}
		assert.Empty(t, keep.Stale(stays, time.UTC), "a second look")
	})
}

// The day on which each is said to go is the one on which it goes.
func TestGoneIsWhatHappens(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		keep := backups.Keep{Days: rapid.IntRange(1, 7).Draw(t, "days"), Weeks: rapid.IntRange(0, 4).Draw(t, "weeks"), Months: rapid.IntRange(0, 6).Draw(t, "months")}
		zone := time.FixedZone("far", rapid.IntRange(-11, 13).Draw(t, "hours")*3600)
		step := rapid.IntRange(1, 3).Draw(t, "every")
		next := func(at time.Time) time.Time { return at.AddDate(0, 0, step) }
		at := time.Date(2026, 3, rapid.IntRange(1, 28).Draw(t, "day"), 2, 30, 0, 0, time.UTC)
		var there []time.Time
		for range rapid.IntRange(1, 40).Draw(t, "so far") {
			there = append(there, at)
			for _, gone := range keep.Stale(there, zone) {
				there = slices.DeleteFunc(there, gone.Equal)
			}
			at = next(at)
		}
		said, ours := keep.Gone(there, next, zone), slices.Clone(there)
		require.Len(t, said, len(ours))
		for range 400 {
			there = append(there, at)
			for _, gone := range keep.Stale(there, zone) {
				there = slices.DeleteFunc(there, gone.Equal)
				if slices.ContainsFunc(ours, gone.Equal) {
					require.Equal(t, loops.DayOf(at, zone), said[gone], gone)
					ours = slices.DeleteFunc(ours, gone.Equal)
				}
			}
			at = next(at)
		}
		require.Empty(t, ours, "all are gone by then")
	})
	assert.Empty(t, backups.Keep{Days: 3}.Gone([]time.Time{time.Unix(0, 0)}, func(time.Time) time.Time { return time.Time{} }, time.UTC), "none to come: none goes")
}
