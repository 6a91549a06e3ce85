// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/schedule"
)

const (
	afarWatts, afarProved = 120.0, 0.25 // 30 K above the room
)

var afarDay = loops.Day{Year: 2025, Month: 1, Dom: 6} // a Monday

// provedEntry proves a loop: 52 °C in 22 °C at 120 W.
func provedEntry() loops.Entry {
	read := func(die float64) loops.Inspection {
		return loops.Inspection{Die: new(chemistry.Celsius(die)), Room: new(chemistry.Celsius(22)), PowerW: new(afarWatts), Steady: true, Verdict: loops.Good}
	}
	return loops.Entry{ID: 1, Kind: loops.KindProof, Day: afarDay, Proof: &loops.Proof{Before: read(92), After: read(22 + afarProved*afarWatts)}}
}

// logOf is a log of one week, said to be in a room of 22 °C at the heat of the
// proof.
func logOf(week int, warmest float64) loops.Entry {
	day := afarDay.AddDays(7 * week)
	return loops.Entry{ID: loops.EntryID(week + 2), Kind: loops.KindLog, Day: day.AddDays(6), TemperatureLog: &loops.TemperatureLog{
		Room: 22, Time: "time", Temperature: "temp", Read: 1000, Weeks: []loops.LogWeek{{Day: day, Warmest: chemistry.Celsius(warmest), Hours: 168}},
	}}
}

// truth draws what a week's warmest hour reads: what is said of room and power
// is off by as much all the time, and by some more each week.
type truth struct {
	*rand.Rand
	room, power float64
}

func (t truth) week(share float64) float64 {
	power := afarWatts * (1 + t.power + .1*t.NormFloat64())
	return 22 + t.room + 2*t.NormFloat64() + afarProved*(1+share)*power + t.NormFloat64()
}

// Simulated years of weekly logs through the plan itself, with 1 K of noise at
// the die, 2 K at the room and 10 % of power, and as much again that never
// changes: at most one false call in 20 loop-years, and a rise of 30 % is called
// before it is 50 %.
func TestLogsOverSimulatedYears(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(815, 29))
	const runs, years, weeks = 200, 2, 52
	falsely, late, at := 0, 0, 0.0
	for range runs {
		shop := truth{r, 2 * r.NormFloat64(), .1 * r.NormFloat64()}
		sound, clogging := []loops.Entry{provedEntry()}, []loops.Entry{provedEntry()}
		for week := range years * weeks {
			sound = append(sound, logOf(week, shop.week(0)))
			clogging = append(clogging, logOf(week, shop.week(.5*max(0, float64(week-26))/weeks)))
		}
		if schedule.AfarOf(sound).Called() != nil {
			falsely++
		}
		call := schedule.AfarOf(clogging).Called()
		require.NotNil(t, call)
		share := .5 * float64(call.Day.Sub(afarDay)/7-26) / weeks
		if at += share; share >= .5 {
			late++
		}
	}
	t.Logf("%d false calls in %d loop-years; called at a rise of %.0f %% on average, %d of %d at 50 %% or more", falsely, runs*years, 100*at/runs, late, runs)
	assert.LessOrEqual(t, falsely, runs*years/20)
	assert.Zero(t, late)
	assert.Less(t, at/runs, .30)
}

func TestAfarFollowsTheRecord(t *testing.T) {
	t.Parallel()
	answer := func(days int, die float64, ran loops.Ran) loops.Entry {
		return loops.Entry{ID: loops.EntryID(1000 + days), Kind: loops.KindAnswer, Day: afarDay.AddDays(days),
			Answer: &loops.Answer{Answer: loops.AllFine, Die: new(chemistry.Celsius(die)), Room: new(chemistry.Celsius(22)), Ran: ran}}
	}
	history := []loops.Entry{provedEntry()}
	assert.Nil(t, schedule.AfarOf(nil))
	a := schedule.AfarOf(history)
	assert.Equal(t, afarDay, a.Day)
	assert.InDelta(t, afarProved, float64(a.Proof.Value), 1e-9)
	assert.Nil(t, a.Called())
	// Light work is no measure; a doubling is seen after two answers.
	history = append(history, answer(100, 82, loops.RanLight), answer(180, 82, loops.RanHeavy))
	a = schedule.AfarOf(history)
	require.Len(t, a.Answers, 1)
	assert.InDelta(t, .5, float64(a.Answers[0].Value.Value), 1e-9)
	assert.Nil(t, a.Called(), "one answer calls nothing")
	history = append(history, answer(360, 82, loops.RanHeavy))
	call := schedule.AfarOf(history).Called()
	require.NotNil(t, call)
	assert.Equal(t, afarDay.AddDays(360), call.Day)
	assert.InDelta(t, 1, call.Share, .01)
	// A technician who has looked begins it again; so does a fill.
	looked := append(history, loops.Entry{ID: 2000, Kind: loops.KindInspection, Day: afarDay.AddDays(361), Inspection: &loops.Inspection{Verdict: loops.Watch}})
	assert.Nil(t, schedule.AfarOf(looked).Called())
	assert.Nil(t, schedule.AfarOf(append(history, loops.Entry{ID: 2001, Kind: loops.KindDrain, Day: afarDay.AddDays(361), Drain: &loops.Drain{}})))

	// Two logs of the same week count once, the fuller of them.
	twice := []loops.Entry{provedEntry(), logOf(0, 52), logOf(0, 60)}
	twice[2].ID, twice[2].TemperatureLog.Weeks[0].Hours = 900, 3
	a = schedule.AfarOf(twice)
	require.Len(t, a.Weeks, 1)
	assert.InDelta(t, afarProved, float64(a.Weeks[0].Value.Value), 1e-9)
}

// A room that follows the seasons is no rise where a column has it, and is one
// where it is only said.
func TestLogsTakeTheRoomOfTheirColumn(t *testing.T) {
	t.Parallel()
	year := func(column bool) []loops.Entry {
		history := []loops.Entry{provedEntry()}
		for week := range 52 {
			room := chemistry.Celsius(22 + 12*float64(min(week, 26))/26)
			e := logOf(week, float64(room)+afarProved*afarWatts)
			if column {
				e.TemperatureLog.Weeks[0].Room = &room
			}
			history = append(history, e)
		}
		return history
	}
	with := schedule.AfarOf(year(true))
	assert.Nil(t, with.Called())
	assert.InDelta(t, afarProved, float64(with.Weeks[51].Value.Value), 1e-9)
	assert.NotNil(t, schedule.AfarOf(year(false)).Called())
}
