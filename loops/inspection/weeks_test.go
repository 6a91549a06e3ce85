// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

func TestReadWeeks(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 11, 1, 0, 0, 0, 0, time.UTC)
	var log strings.Builder
	log.WriteString("when,load,CPU temp\n")
	// Three weeks of ten-minute values; each day has one hour of work, and one
	// value of a single moment that no hour keeps.
	fmt.Fprintln(&log, start.Format(time.DateTime)+",0,99")
	for at := start.Add(10 * time.Minute); at.Before(start.AddDate(0, 0, 21)); at = at.Add(10 * time.Minute) {
		c := 35.0
		if at.Hour() == 14 {
			c = 60 + float64(at.Sub(start)/(24*time.Hour))/10
		}
		fmt.Fprintf(&log, "%s,1,%.1f\n", at.Format(time.DateTime), c)
	}
	weeks, series, err := inspection.ReadWeeks(strings.NewReader(log.String()), &inspection.Columns{Time: "when", Temperature: "CPU temp"}, start)
	require.NoError(t, err)
	assert.Equal(t, inspection.Columns{Time: "when", Temperature: "CPU temp"}, series.Columns)
	require.Len(t, weeks, 4, "it begins and ends within a week")
	assert.Equal(t, start.AddDate(0, 0, -6), weeks[0].Start)
	assert.InDelta(t, 60, float64(weeks[0].Warmest), .001)
	assert.Equal(t, 24, weeks[0].Hours)
	assert.InDelta(t, 62, float64(weeks[3].Warmest), .001)

	// Seconds from the start of the log end today.
	end := time.Date(2026, 12, 3, 12, 0, 0, 0, time.UTC)
	weeks, series, err = inspection.ReadWeeks(strings.NewReader("time,temp\n0,50\n3600,51\n7200,52\n"), nil, end)
	require.NoError(t, err)
	assert.Equal(t, end, series.Last)
	require.Len(t, weeks, 1)
	assert.InDelta(t, 52, float64(weeks[0].Warmest), .001)
	assert.WithinDuration(t, end, weeks[0].Start, 7*24*time.Hour)

	var invalid *chemistry.InvalidError
	_, _, err = inspection.ReadWeeks(strings.NewReader("time,temp\n2001-01-01 00:00:00,50\n2012-01-01 00:00:00,50\n"), nil, end)
	require.NoError(t, err, "eleven years with a gap in them are two weeks")
	var long strings.Builder
	long.WriteString("time,temp\n")
	for i := range 523 {
		fmt.Fprintf(&long, "%s,50\n", start.AddDate(-10, 0, 7*i).Format(time.DateTime))
	}
	_, _, err = inspection.ReadWeeks(strings.NewReader(long.String()), nil, end)
	require.ErrorAs(t, err, &invalid)
	assert.Equal(t, "log", invalid.Field)
}

// The room of a week is that of its warmest hour, where a column has it.
func TestReadWeeksTakesTheRoomOfTheWarmestHour(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"time,ambient,temp\n2026-11-02 10:00:00,19,50\n2026-11-02 11:00:00,25,60\n2026-11-02 11:30:00,27,60\n2026-11-02 12:00:00,20,55\n2026-11-09 10:00:00,,50\n",
		`[{"time":"2026-11-02 10:00:00","room":19,"die":50},{"time":"2026-11-02 11:00:00","room":26,"die":60},{"time":"2026-11-09 10:00:00","die":50}]`,
	} {
		weeks, _, err := inspection.ReadWeeks(strings.NewReader(text), nil, time.Date(2026, 11, 10, 0, 0, 0, 0, time.UTC))
		require.NoError(t, err)
		require.Len(t, weeks, 2)
		require.NotNil(t, weeks[0].Room)
		assert.InDelta(t, 26, float64(*weeks[0].Room), 1e-9)
		assert.Nil(t, weeks[1].Room)
	}
}
