// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"crypto/rand"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
)

// readAll is the list as somebody has it who looks for the first time.
func (b bench) readAll(t require.TestingT, at time.Time) workshop.DueList {
	list, err := workshop.New(b.store, b.Settings(), rand.Reader, keys(t, 1)).Due(at)
	require.NoError(t, err)
	return list
}

// The list that is kept up to date says what one says that is read whole, after
// anything that can happen.
func TestTheListIsUpToDate(t *testing.T) {
	path, loop, start := oneWaiting(t)
	all := happens(t, loop)
	names := slices.Sorted(maps.Keys(all))
	r := startRelay(t)
	rapid.Check(t, func(rt *rapid.T) {
		r.set("")
		r.take()
		b := copyOf(t, path)
		defer func() { require.NoError(rt, errors.Join(b.store.Close(), os.Remove(b.store.Path()))) }()
		mail, now := b.delivererTo(rt, r), start
		for range rapid.IntRange(2, 8).Draw(rt, "steps") {
			stamp := workshop.Stamp{At: now, By: "test"}
			switch rapid.IntRange(0, 5).Draw(rt, "step") {
			case 0, 1, 2:
				what := rapid.SampledFrom(names).Draw(rt, "happens")
				if err := all[what](b, stamp); err != nil {
					rt.Logf("%s: %v", what, err) // what cannot be done changes nothing
				}
			case 3:
				now = now.Add(time.Duration(rapid.IntRange(1, 7*24).Draw(rt, "hours")) * time.Hour)
			case 4:
				_, err := b.Sweep(stamp)
				require.NoError(rt, err)
			default:
				r.set(rapid.SampledFrom([]string{"", "defer", "refuse"}).Draw(rt, "relay"))
				_, err := mail.Deliver(t.Context(), now)
				require.NoError(rt, err)
				r.take()
			}
			list, err := b.Due(now)
			require.NoError(rt, err)
			require.Equal(rt, b.readAll(rt, now), list)
		}
	})
}

// Who writes past a board that reads all again reads nothing old.
func TestTheListIsUpToDateAfterCompaction(t *testing.T) {
	t.Parallel()
	path, loop, start := oneWaiting(t)
	b := copyOf(t, path)
	_, err := b.Due(start)
	require.NoError(t, err)
	_, _, err = b.store.Compact(t.Context())
	require.NoError(t, err)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	owner.Name = "Ana Fern of the hill"
	require.NoError(t, b.store.Commit(loops.Change{At: start, By: "test", Action: "owner edit", Owners: []loops.Owner{owner}}))
	list, err := b.Due(start)
	require.NoError(t, err)
	require.Equal(t, b.readAll(t, start), list)
	lines := slices.Concat(list.Overdue, list.Today, list.Week, list.Later)
	require.NotEmpty(t, lines)
	require.Equal(t, loop.Tag, lines[0].Tag)
	require.Equal(t, owner.Name, lines[0].Owner)
}

// The first look after a write, with 100,000 loops of which a fifth stand on the
// list, and the look that reads all of it.
func BenchmarkDueAfterAWrite(b *testing.B) {
	const all, listed = 100_000, 20_000
	day := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	bench := benchRegister(b, all, listed, day)
	now := day.At(9, time.UTC)
	look := func(b *testing.B, w *workshop.Workshop) {
		list, err := w.Due(now)
		if err != nil || len(list.Today) != listed {
			b.Fatal(err, len(list.Today))
		}
	}
	b.Run("piece", func(b *testing.B) {
		look(b, bench.Workshop)
		for n := 0; b.Loop(); n++ {
			b.StopTimer()
			noted(b, bench.store, loops.LoopID(1+n%listed), now)
			b.StartTimer()
			look(b, bench.Workshop)
		}
	})
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			b.StopTimer()
			w := workshop.New(bench.store, bench.Settings(), rand.Reader, keys(b, 1))
			b.StartTimer()
			look(b, w)
		}
	})
}

// noted puts a note into the history of a loop.
func noted(b *testing.B, s *store.Store, id loops.LoopID, at time.Time) {
	b.Helper()
	loop, err := s.Loop(id)
	require.NoError(b, err)
	loop.LastEntry++
	require.NoError(b, s.Commit(loops.Change{At: at, By: "bench", Action: "note", Loops: []loops.Loop{loop}, Entries: []loops.Entry{
		{ID: loop.LastEntry, Loop: id, Recorded: at, Day: loops.DayOf(at, time.UTC), By: "bench", Kind: loops.KindNote, Note: fmt.Sprint("seen ", loop.LastEntry)},
	}}))
}
