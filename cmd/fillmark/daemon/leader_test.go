// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/testdata/peer"
)

// benchOn is the configuration of a daemon with a folder of its own on a database.
func benchOn(t *testing.T, address string) Config {
	t.Helper()
	c := DefaultConfig(map[string]string{})
	c.Store, c.Folder = address, t.TempDir()
	require.Empty(t, c.Problems())
	return c
}

// sisterOf is a folder for another daemon on the same database, with the keys of the
// first one and its photos.
func sisterOf(t *testing.T, c Config) string {
	t.Helper()
	folder := t.TempDir()
	require.NoError(t, os.Symlink(c.keysDir(), filepath.Join(folder, "keys")))
	require.NoError(t, os.Symlink(string(c.photos()), filepath.Join(folder, PhotosFolder)))
	return folder
}

func opened(t *testing.T, c Config, now func() time.Time) *Service {
	t.Helper()
	h, err := Open(c, now, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, h.Close()) })
	return h
}

// Of two daemons one leads. The other takes over when the one was silent for its
// patience, and what the one still writes is refused.
func TestOneOfTwoDaemonsLeads(t *testing.T) {
	t.Parallel()
	address, quiet := peer.StartPostgres(t).Address(""), slog.New(slog.DiscardHandler)
	var told atomic.Int32
	hears := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { told.Add(1) }))
	t.Cleanup(hears.Close)
	c := benchOn(t, address)
	c.Alarm.Post.URL = hears.URL
	first := opened(t, c, testNow)
	c.Folder = sisterOf(t, c)
	second := opened(t, c, testNow)

	assert.False(t, first.lead.leads(), "nobody has said so")
	first.lookWhoLeads(quiet)
	require.True(t, first.lead.leads())
	before, err := first.Store.Revision()
	require.NoError(t, err)
	for range 3 {
		second.lookWhoLeads(quiet)
		first.lookWhoLeads(quiet)
	}
	after, err := second.Store.Revision()
	require.NoError(t, err)
	assert.Equal(t, before, after, "no letter is judged again for a beat")
	require.False(t, second.lead.leads())
	first.serving.Store(true)
	second.serving.Store(true)
	assert.Equal(t, "The daemon runs.", first.Quick().Line("daemon").Says)
	assert.Contains(t, second.Quick().Line("daemon").Says, "another one leads, which sweeps, reads mail and tells alarms: "+first.lead.holder)
	_, _, err = first.keeper.Compact(t.Context())
	require.NoError(t, err)
	_, _, err = second.keeper.Compact(t.Context())
	require.ErrorContains(t, err, first.lead.holder+`": it leads, and the one that leads alone removes photos that no history names: run compact there`)
	require.NoError(t, first.Alarms.Tell(t.Context(), testNow()), "that the way works")
	require.EqualValues(t, 1, told.Load())
	stale, fresh := workshop.Stamp{At: testNow(), By: "schedule"}, workshop.Stamp{At: testNow().Add(2 * time.Hour), By: "schedule"}
	_, err = first.led.Sweep(stale)
	require.NoError(t, err)

	second.lead.patience = 0 // as if the first had been silent for so long
	second.lookWhoLeads(quiet)
	second.lead.patience = leadPatience
	require.True(t, second.lead.leads())
	require.True(t, first.lead.leads(), "it cannot know yet, as one that was paused")
	_, err = first.led.Sweep(fresh)
	require.ErrorIs(t, err, loops.ErrOvertaken)
	require.ErrorIs(t, first.ledStore.PutAlarms(loops.AlarmBook{}), loops.ErrOvertaken)
	require.NoError(t, second.Alarms.Tell(t.Context(), testNow()))
	assert.EqualValues(t, 1, told.Load(), "it knows what the first has told")
	up, err := second.Store.Uptime()
	require.NoError(t, err)
	assert.Equal(t, testNow(), up.Swept, "nothing was changed")
	_, err = first.Workshop.AddOwner(stale, loops.Owner{Name: "Ana Ruizado"})
	require.NoError(t, err, "what a person does is done wherever they do it")

	first.lookWhoLeads(quiet)
	assert.False(t, first.lead.leads())
	_, err = second.led.Sweep(fresh)
	require.NoError(t, err)
	is, err := first.Store.Leader()
	require.NoError(t, err)
	assert.EqualValues(t, 2, is.Number)
	require.NoError(t, first.Store.EndLead(first.lead.holder), "which it is not")
	require.NoError(t, second.Store.EndLead(second.lead.holder))
	first.lookWhoLeads(quiet)
	assert.True(t, first.lead.leads(), "at once, without waiting")

	// Another one led and left off while this one was paused: it begins again, from
	// what that one has put down.
	second.lead.patience = 0
	second.lookWhoLeads(quiet)
	require.NoError(t, second.Store.EndLead(second.lead.holder))
	recalled := 0
	begins, err := first.lead.beat(func() error { recalled++; return nil })
	require.NoError(t, err)
	assert.True(t, begins)
	assert.Equal(t, 1, recalled)
	assert.Empty(t, first.lead.other(), "it is this one itself")
	report, err := first.Store.Check(t.Context())
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
}

// A daemon on a file leads always, and writes nothing about it.
func TestTheDaemonOnAFileLeads(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
	h := opened(t, c, testNow)
	before, err := h.Store.Revision()
	require.NoError(t, err)
	h.keepLead(t.Context(), slog.New(slog.DiscardHandler))
	assert.True(t, h.lead.leads())
	assert.Same(t, h.Store, h.ledStore)
	assert.Same(t, h.Workshop, h.led)
	after, err := h.Store.Revision()
	require.NoError(t, err)
	assert.Equal(t, before, after)
	is, err := h.Store.Leader()
	require.NoError(t, err)
	assert.Zero(t, is)
}
