// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

func TestAlarmsAndCanary(t *testing.T) {
	t.Parallel()
	testAlarmsAndCanary(t, files)
}

func testAlarmsAndCanary(t *testing.T, fresh place) {
	path := fresh(t)
	s, err := store.Open(path, store.Options{})
	require.NoError(t, err)
	none, err := s.Alarms()
	require.NoError(t, err)
	assert.Zero(t, none)
	book := loops.AlarmBook{
		Alarms: []loops.AlarmLine{{
			Alarm: loops.Alarm{Name: "mail", Reason: "No mail leaves.", Remedy: "Put it right.", Since: noon}, Ended: noon.Add(time.Hour),
			Told: map[string]time.Time{"post": noon}, Over: map[string]bool{"post": true},
		}},
		Ways: []loops.AlarmWay{{Name: "post", Where: "abc", Tried: noon, Told: noon, Failing: noon, Fault: "nobody there"}},
	}
	canary := loops.Canary{}.WithSent(noon).WithArrived(noon, noon.Add(time.Minute)).WithSent(noon.Add(24 * time.Hour))
	require.NoError(t, s.PutAlarms(book))
	require.NoError(t, s.PutCanary(canary))
	sound(t, s)
	require.NoError(t, s.Close())
	s, err = store.Open(path, store.Options{})
	require.NoError(t, err)
	got, err := s.Alarms()
	require.NoError(t, err)
	assert.Equal(t, book, got)
	came, err := s.Canary()
	require.NoError(t, err)
	assert.Equal(t, canary, came)
	assert.Equal(t, noon.Add(24*time.Hour), came.Waiting)
	require.NoError(t, s.Close())
}
