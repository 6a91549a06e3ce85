// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"testing"
	"time"
	_ "time/tzdata" // the same zones on every machine

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/schedule"
)

func zone(t require.TestingT, name string) *time.Location {
	z, err := loops.LoadZone(name)
	require.NoError(t, err)
	return z
}

func TestStageOn(t *testing.T) {
	t.Parallel()
	p := schedule.DefaultPolicy()
	due := day(t, "2026-03-29")
	tests := []struct {
		name string
		past int
		want loops.Stage
	}{
		{"eight days before", -8, ""},
		{"seven days before", -7, loops.StageAhead},
		{"the day before", -1, loops.StageAhead},
		{"on the day", 0, loops.StageDue},
		{"six days after", 6, loops.StageDue},
		{"a week after", 7, loops.StageLate},
		{"twenty days after", 20, loops.StageLate},
		{"three weeks after", 21, loops.StageLast},
		{"34 days after", 34, loops.StageLast},
		{"five weeks after", 35, loops.StageCall},
		{"years after", 2000, loops.StageCall},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			stage, ok := schedule.StageOn(p, due, due.AddDays(tt.past))
			assert.Equal(t, tt.want, stage)
			assert.Equal(t, tt.want != "", ok)
		})
	}
}

func TestStageOnWithoutAhead(t *testing.T) {
	t.Parallel()
	p := schedule.DefaultPolicy()
	p.AheadDays = 0
	due := day(t, "2026-03-29")
	_, ok := schedule.StageOn(p, due, due.AddDays(-1))
	assert.False(t, ok)
	stage, ok := schedule.StageOn(p, due, due)
	assert.True(t, ok)
	assert.Equal(t, loops.StageDue, stage)
}

// Changes of the clocks as the IANA time zone database has them.
func TestSendableAt(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, day string
		hour      int
		zone      string
		want      string
	}{
		{"plain", "2026-06-01", 8, "Europe/Berlin", "2026-06-01T06:00:00Z"},
		{"spring day, after the change", "2026-03-29", 8, "Europe/Berlin", "2026-03-29T06:00:00Z"},
		{"hour skipped in spring", "2026-03-29", 2, "Europe/Berlin", "2026-03-29T01:00:00Z"},
		{"midnight skipped in Santiago", "2024-09-08", 0, "America/Santiago", "2024-09-08T04:00:00Z"},
		{"half-hour zone", "2026-06-01", 8, "Asia/Kolkata", "2026-06-01T02:30:00Z"},
		{"half-hour change, hour skipped", "2026-10-04", 2, "Australia/Lord_Howe", "2026-10-03T15:30:00Z"},
		{"day skipped in Samoa", "2011-12-30", 8, "Pacific/Apia", "2011-12-30T10:00:00Z"},
		{"furthest east", "2026-06-01", 0, "Pacific/Kiritimati", "2026-05-31T10:00:00Z"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			got := schedule.SendableAt(day(t, tt.day), tt.hour, zone(t, tt.zone))
			assert.Equal(t, tt.want, got.Format(time.RFC3339))
		})
	}
}

// The instant found is the first whose wall clock shows the day and hour or
// later, by walking there in steps of five minutes.
func TestSendableAtIsTheFirst(t *testing.T) {
	t.Parallel()
	names := []string{"Europe/Berlin", "America/Santiago", "Asia/Beirut", "Africa/Cairo", "Pacific/Apia",
		"Australia/Lord_Howe", "America/New_York", "Asia/Kathmandu", "America/Havana", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		z := zone(t, rapid.SampledFrom(names).Draw(t, "zone"))
		hour := rapid.IntRange(0, 23).Draw(t, "hour")
		d := loops.Day{Year: 2010, Month: time.January, Dom: 1}.AddDays(rapid.IntRange(0, 366*20).Draw(t, "day"))
		got := schedule.SendableAt(d, hour, z)
		wanted := time.Date(d.Year, d.Month, d.Dom, hour, 0, 0, 0, time.UTC)
		// wall reads the zone's wall clock as if it stood in UTC, to compare it.
		wall := func(i time.Time) time.Time {
			l := i.In(z)
			return time.Date(l.Year(), l.Month(), l.Day(), l.Hour(), l.Minute(), 0, 0, time.UTC)
		}
		assert.False(t, wall(got).Before(wanted), "not before the hour")
		for i := wanted.Add(-26 * time.Hour); i.Before(got); i = i.Add(5 * time.Minute) {
			// In autumn the wall clock shows an hour twice; either will do.
			if !wall(i).Before(wanted) {
				assert.LessOrEqual(t, got.Sub(i), time.Hour)
				break
			}
		}
	})
}

func TestFurthest(t *testing.T) {
	t.Parallel()
	at := time.Date(2026, 12, 31, 10, 0, 0, 0, time.UTC)
	assert.Equal(t, "2027-01-01", schedule.Furthest(at).String())
	assert.Equal(t, "2026-12-31", schedule.Furthest(at.Add(-time.Second)).String())
	assert.Equal(t, loops.DayOf(at, zone(t, "Pacific/Kiritimati")), schedule.Furthest(at))
	assert.Equal(t, "2027-02-07", schedule.Horizon(schedule.DefaultPolicy(), at).String())
}
