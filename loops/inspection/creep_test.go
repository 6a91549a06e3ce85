// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package inspection_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops/inspection"
)

// A simulated weekly log: 1 K of noise at the die, 2 K at the room, 10 % of
// power, at 120 W and 0.25 K/W.
const (
	watts, proved = 120.0, 0.25
	weeks         = 52
)

func weekly(r *rand.Rand, resistance float64) inspection.KelvinPerWatt {
	power := watts * (1 + .1*r.NormFloat64())
	die := 22 + resistance*power + 1*r.NormFloat64()
	room := 22 + 2*r.NormFloat64()
	return inspection.KelvinPerWatt(max(die-room, .5) / watts)
}

func watch(t *testing.T) inspection.Creep {
	t.Helper()
	c, err := inspection.WatchCreep(proved, inspection.CreepSigma(proved*watts, 1, 2, .1))
	require.NoError(t, err)
	return c
}

// Over simulated years: at most one false call in 20 loop-years, and a rise
// that goes on is called before it stands at 50 %.
func TestCreepOverSimulatedYears(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(4711, 15))
	const years = 2000
	falsely := 0
	for range years / 2 {
		c := watch(t)
		for week := range 2 * weeks {
			called, err := c.Add(7*float64(week), weekly(r, proved))
			require.NoError(t, err)
			if called != nil {
				falsely++
				c = watch(t) // looked at, and proved again
			}
		}
	}
	t.Logf("%d false calls in %d loop-years", falsely, years)
	assert.LessOrEqual(t, falsely, years/20)

	const loops = 1000
	late, at := 0, 0.0
	for range loops {
		c := watch(t)
		// Sound for half a year, then a clog that reaches 50 % within a year.
		for week := range 26 + weeks {
			share := .5 * max(0, float64(week-26)) / weeks
			called, err := c.Add(7*float64(week), weekly(r, proved*(1+share)))
			require.NoError(t, err)
			if called != nil {
				at += share
				assert.Contains(t, called.Reason(), "% above")
				break
			}
			if week == 26+weeks-1 {
				late++
			}
		}
	}
	t.Logf("called at a rise of %.0f %% on average; %d of %d not before 50 %%", 100*at/float64(loops-late), late, loops)
	assert.Zero(t, late)
	assert.Less(t, at/float64(loops-late), .30)

	// A step of 30 % that stays is called, and within a quarter.
	for range loops {
		c := watch(t)
		week, called := 0, (*inspection.Called)(nil)
		for ; called == nil && week < weeks; week++ {
			var err error
			called, err = c.Add(7*float64(week), weekly(r, proved*1.3))
			require.NoError(t, err)
		}
		require.NotNil(t, called)
		assert.LessOrEqual(t, week, 26)
	}
}

// What twice a year can show: said beforehand, and less than a weekly log.
func TestWhatOwnersAnswersCanShow(t *testing.T) {
	t.Parallel()
	sigma := inspection.CreepSigma(proved*watts, 1, 2, .1)
	twice, weekly := inspection.SeenAfter(2, sigma), inspection.SeenAfter(weeks, sigma)
	t.Logf("twice in a year: %.0f %%; weekly for a year: %.0f %%", 100*twice, 100*weekly)
	assert.Greater(t, twice, weekly)
	assert.Greater(t, twice, .5, "two answers show a large rise alone")
	assert.Less(t, weekly, .2)
	assert.True(t, math.IsInf(inspection.SeenAfter(1, 1), 1))
}

func TestCreepRefuses(t *testing.T) {
	t.Parallel()
	var invalid *chemistry.InvalidError
	_, err := inspection.WatchCreep(-.1, .1)
	require.ErrorAs(t, err, &invalid)
	_, err = inspection.WatchCreep(.2, 0)
	require.ErrorAs(t, err, &invalid)
	c := watch(t)
	before := c
	for _, bad := range []float64{0, -.2, 65535, math.NaN(), math.Inf(1)} {
		_, err := c.Add(1, inspection.KelvinPerWatt(bad))
		require.ErrorAs(t, err, &invalid)
		assert.Equal(t, "resistance", invalid.Field)
	}
	assert.Equal(t, before, c)
	_, err = new(inspection.Creep).Add(1, .2)
	require.ErrorAs(t, err, &invalid)
}
