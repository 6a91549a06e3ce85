// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
	_ "time/tzdata" // as the program has it

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/schedule"
	"fillmark/testdata/peer"
)

// zonesOfNote change their clocks at midnight (Santiago, Havana, Cairo, Beirut,
// Asunción), by half an hour (Lord Howe), are a day apart (Kiritimati, Pago Pago),
// or skipped a day: Apia and Fakaofo 30 December 2011, Kwajalein 21 August 1993.
func zonesOfNote() []string {
	return []string{"UTC", "Europe/Berlin", "Europe/Lisbon", "Europe/London", "America/New_York", "America/Los_Angeles", "America/St_Johns", "America/Santiago",
		"America/Havana", "America/Asuncion", "America/Sao_Paulo", "Africa/Cairo", "Africa/Casablanca", "Asia/Beirut", "Asia/Tehran", "Asia/Kolkata",
		"Asia/Kathmandu", "Australia/Sydney", "Australia/Lord_Howe", "Pacific/Kiritimati", "Pacific/Pago_Pago", "Pacific/Apia", "Pacific/Fakaofo", "Pacific/Kwajalein"}
}

type dayQuestion struct {
	Zone    string    `json:"zone"`
	Instant int64     `json:"instant"`
	Months  int       `json:"months"`
	Days    int       `json:"days"`
	Hour    int       `json:"hour"`
	Other   loops.Day `json:"other"`
}

type dayAnswer struct {
	Day      loops.Day `json:"day"`
	Due      loops.Day `json:"due"`
	Past     int       `json:"past"`
	Sendable int64     `json:"sendable"`
}

// dayQuestions draws starts, zones and intervals; every fourth start or due day
// lies within a day of a change of the zone's clocks.
func dayQuestions(t *testing.T, n int) []dayQuestion {
	random := rand.New(rand.NewPCG(2026, 11))
	first, last := time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC).Unix(), time.Date(2036, 1, 1, 0, 0, 0, 0, time.UTC).Unix()
	all := make([]dayQuestion, n)
	for i := range all {
		q := dayQuestion{Zone: zonesOfNote()[i%len(zonesOfNote())], Instant: first + random.Int64N(last-first), Hour: random.IntN(24)}
		if random.IntN(2) == 0 {
			q.Months = random.IntN(61)
		} else {
			q.Days = random.IntN(1000)
		}
		if random.IntN(4) == 0 {
			zone, err := loops.LoadZone(q.Zone)
			require.NoError(t, err)
			if _, end := time.Unix(q.Instant, 0).In(zone).ZoneBounds(); !end.IsZero() && end.Unix() < last {
				q.Instant = end.Unix() + random.Int64N(2*86400) - 86400
				if random.IntN(2) == 0 { // the due day, not the start, near the change
					q.Months, q.Days = 0, 1+random.IntN(60)
					q.Instant -= int64(q.Days) * 86400
				}
			}
		}
		q.Other = loops.DayOf(time.Unix(first+random.Int64N(last-first), 0), time.UTC)
		all[i] = q
	}
	return all
}

// TestDaysAgainstPython holds days, intervals and sending instants against
// zoneinfo and dateutil for 10,000 starts.
func TestDaysAgainstPython(t *testing.T) {
	t.Parallel()
	const python = "/usr/bin/python3" // another one first in PATH may lack the Debian modules
	peer.Answering(t, python, "-c", "import zoneinfo, dateutil; zoneinfo.ZoneInfo('Pacific/Apia')")
	questions := dayQuestions(t, 10_000)
	var in bytes.Buffer
	lines := json.NewEncoder(&in)
	for _, q := range questions {
		require.NoError(t, lines.Encode(q))
	}
	check := exec.CommandContext(t.Context(), python, filepath.Join("testdata", "days_check.py"))
	check.Stdin = &in
	out, err := check.Output()
	require.NoError(t, err)
	answers := bufio.NewScanner(bytes.NewReader(out))
	n := 0
	for answers.Scan() {
		var want dayAnswer
		require.NoError(t, json.Unmarshal(answers.Bytes(), &want))
		q := questions[n]
		zone, err := loops.LoadZone(q.Zone)
		require.NoError(t, err)
		interval := loops.Interval{Months: q.Months, Days: q.Days}
		got := dayAnswer{Day: loops.DayOf(time.Unix(q.Instant, 0), zone)}
		got.Due = interval.After(got.Day)
		got.Past = q.Other.Sub(got.Due)
		got.Sendable = schedule.SendableAt(got.Due, q.Hour, zone).Unix()
		require.Equal(t, want, got, "%+v", q)
		n++
	}
	assert.Equal(t, len(questions), n)
}

// A day that a zone skipped has no hour: mail for it may go out at the skip.
func TestSkippedDayAndMidnight(t *testing.T) {
	t.Parallel()
	apia, err := loops.LoadZone("Pacific/Apia")
	require.NoError(t, err)
	skipped := loops.Day{Year: 2011, Month: time.December, Dom: 30}
	assert.Equal(t, time.Date(2011, 12, 30, 10, 0, 0, 0, time.UTC), schedule.SendableAt(skipped, 8, apia), "midnight at the end of the 29th")
	assert.Equal(t, skipped.AddDays(1), loops.DayOf(schedule.SendableAt(skipped, 8, apia), apia))
	santiago, err := loops.LoadZone("America/Santiago")
	require.NoError(t, err)
	spring := loops.Day{Year: 2024, Month: time.September, Dom: 8} // midnight became one o'clock
	assert.Equal(t, time.Date(2024, 9, 8, 4, 0, 0, 0, time.UTC), schedule.SendableAt(spring, 0, santiago))
	for _, zone := range []string{"", "Local", "Mars/Olympus", "../etc/passwd"} {
		_, err := loops.LoadZone(zone)
		var invalid *loops.InvalidError
		require.ErrorAs(t, err, &invalid, zone)
	}
}
