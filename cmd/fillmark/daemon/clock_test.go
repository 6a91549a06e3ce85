// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

// A clock that goes far ahead at once is not acted by for an hour; one that is set
// forward by less, or went back again, is.
func TestClockThatLeapsIsNotActedBy(t *testing.T) {
	t.Parallel()
	const day = 24 * time.Hour
	type look struct {
		passed, shown time.Duration // since the first look
		held          bool
	}
	for name, looks := range map[string][]look{
		"as time passes":       {{5 * time.Minute, 5 * time.Minute, false}, {30 * day, 30 * day, false}},
		"summer time":          {{5 * time.Minute, 65 * time.Minute, false}},
		"set by a day":         {{5 * time.Minute, 5*time.Minute + day, false}},
		"stands":               {{3 * day, 0, false}},
		"right after all":      {{5 * time.Minute, 400 * day, true}, {64 * time.Minute, 400*day + 59*time.Minute, true}, {65 * time.Minute, 400*day + time.Hour, false}},
		"set back":             {{5 * time.Minute, 400 * day, true}, {10 * time.Minute, 10 * time.Minute, false}, {15 * time.Minute, 15 * time.Minute, false}},
		"leaps again":          {{5 * time.Minute, 400 * day, true}, {60 * time.Minute, 900 * day, true}, {70 * time.Minute, 900*day + 10*time.Minute, true}, {2 * time.Hour, 900*day + time.Hour, false}},
		"back, and ahead once": {{time.Minute, -400 * day, false}, {2 * time.Minute, 0, true}},
	} {
		var c watchedClock
		require.NoError(t, c.look(testNow(), 7*day))
		for n, l := range looks {
			err := c.look(testNow().Add(l.shown), 7*day+l.passed)
			assert.Equal(t, l.held, err != nil, "%s, look %d: %v", name, n, err)
		}
	}
}

func TestUptimePasses(t *testing.T) {
	t.Parallel()
	passes := uptime()
	before := passes()
	assert.Positive(t, before)
	assert.Eventually(t, func() bool { return passes() > before }, 5*time.Second, time.Millisecond)
}

// While the clock is not acted by nothing is swept, and the alarm says why and what
// to do; once it is, all goes on.
func TestLeapOfTheClockIsTold(t *testing.T) {
	t.Parallel()
	_, h := house(t)
	passed := time.Duration(0)
	h.passed = func() time.Duration { return passed }
	swept := func(at time.Time) time.Time {
		h.round(t.Context(), slog.New(slog.DiscardHandler), at)
		is, err := h.Store.Upkeep(1)
		require.NoError(t, err)
		return is.Uptime.Swept
	}
	sweepAlarm := func(at time.Time) (told loops.Alarm) {
		for _, a := range h.Alarms.Red(at) {
			if a.Name == "sweep" {
				told = a
			}
		}
		return told
	}
	require.True(t, swept(testNow()).Equal(testNow()))
	require.Empty(t, sweepAlarm(testNow()))
	passed += 5 * time.Minute
	later := testNow().AddDate(1, 0, 0)
	assert.True(t, swept(later).Equal(testNow()))
	assert.Contains(t, sweepAlarm(later).Reason, "the clock went from Sat 28 Nov 2026 12:00 UTC to Sun 28 Nov 2027 12:00 UTC at once; set it")
	passed += time.Hour
	later = later.Add(time.Hour)
	assert.True(t, swept(later).Equal(later))
	assert.Empty(t, sweepAlarm(later))
}
