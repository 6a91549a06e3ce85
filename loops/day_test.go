// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
)

func day(t require.TestingT, text string) loops.Day {
	d, err := loops.ParseDay(text)
	require.NoError(t, err)
	return d
}

func TestDayAddMonthsClampsToTheMonthsEnd(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		from   string
		months int
		want   string
	}{
		{"2027-01-31", 1, "2027-02-28"},
		{"2028-01-31", 1, "2028-02-29"},
		{"2028-01-30", 1, "2028-02-29"},
		{"2028-02-29", 12, "2029-02-28"},
		{"2026-08-31", 6, "2027-02-28"},
		{"2026-12-15", 1, "2027-01-15"},
		{"2026-03-31", -1, "2026-02-28"},
	} {
		assert.Equal(t, tt.want, day(t, tt.from).AddMonths(tt.months).String(), "%s plus %d months", tt.from, tt.months)
	}
}

func TestDayArithmetic(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		start := day(t, "1990-01-01").AddDays(rapid.IntRange(0, 40000).Draw(t, "start"))
		n := rapid.IntRange(-5000, 5000).Draw(t, "n")
		later := start.AddDays(n)
		assert.Equal(t, n, later.Sub(start))
		assert.Equal(t, n > 0, later.After(start))
		assert.Equal(t, n < 0, later.Before(start))
		parsed, err := loops.ParseDay(later.String())
		require.NoError(t, err)
		assert.Equal(t, later, parsed)
	})
}

func TestDayOfUsesTheZone(t *testing.T) {
	t.Parallel()
	instant := time.Date(2026, 12, 3, 11, 30, 0, 0, time.UTC)
	for zone, want := range map[string]string{
		"UTC": "2026-12-03", "Pacific/Kiritimati": "2026-12-04", "Pacific/Pago_Pago": "2026-12-03", "Asia/Tokyo": "2026-12-03",
	} {
		location, err := loops.LoadZone(zone)
		require.NoError(t, err)
		assert.Equal(t, want, loops.DayOf(instant, location).String(), zone)
	}
}

func TestParseDayRefuses(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"", "2026-02-29", "2026-13-01", "26-1-1", "2026-1-1", "tomorrow", "9999-01-01", "1066-10-14", "2026-01-01\n"} {
		_, err := loops.ParseDay(text)
		var invalid *loops.InvalidError
		require.ErrorAs(t, err, &invalid, text)
		assert.Contains(t, err.Error(), "2026-12-03", "the error says what would be right")
	}
}

func TestDayLong(t *testing.T) {
	t.Parallel()
	assert.Equal(t, "Thu 3 Dec 2026", day(t, "2026-12-03").Long())
}
