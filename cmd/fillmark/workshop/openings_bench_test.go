// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"crypto/rand"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/schedule"
)

// studyRegister has n loops of one owner, each with a fill and three
// measurements, one in ten clogged since.
func studyRegister(b *testing.B, n int) bench {
	b.Helper()
	s, err := store.Open(filepath.Join(b.TempDir(), "register.db"), store.Options{})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, s.Close()) })
	w := workshop.New(s, workshop.Settings{Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC,
		SendHour: 8, Policy: schedule.DefaultPolicy()}, rand.Reader, keys(b, 1))
	tags := map[loops.Tag]bool{}
	for first := 1; first <= n; first += 1000 {
		change := loops.Change{At: later(900).At, By: "bench", Action: "bench"}
		if first == 1 {
			change.Owners = []loops.Owner{{ID: 1, Name: "Owner"}}
			change.Machines = []loops.Machine{{ID: 1, Owner: 1, Kind: loops.Desktop, Name: "tower", Maker: "Nowhere Works"}}
		}
		for i := first; i < first+1000 && i <= n; i++ {
			tag, err := loops.NewTag(rand.Reader)
			for require.NoError(b, err); tags[tag]; require.NoError(b, err) {
				tag, err = loops.NewTag(rand.Reader)
			}
			tags[tag] = true
			id := loops.LoopID(i)
			history := studyHistory(id, i)
			metal := []chemistry.Metal{chemistry.Aluminium, chemistry.Brass, chemistry.Copper}[i%3]
			change.Loops = append(change.Loops, loops.Loop{ID: id, Machine: 1, Tag: tag, LastEntry: loops.EntryID(len(history)), State: loops.Fold(history),
				Construction: loops.Construction{Volume: 0.5, PumpPlace: fmt.Sprint("place ", i%5), Wetted: []loops.WettedPart{{Part: "radiator", Metal: metal}}}})
			change.Entries = append(change.Entries, history...)
		}
		require.NoError(b, s.Commit(change))
	}
	return bench{w, s}
}

func studyHistory(id loops.LoopID, i int) []loops.Entry {
	charge := loops.Charge{Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), Origin: loops.WorkshopFill, FilledFrom: dayZero, FilledTo: dayZero}
	reading := loops.Inspection{Die: new(chemistry.Celsius(40)), Room: new(chemistry.Celsius(21)), PowerW: new(60.0), Verdict: loops.Good}
	history := []loops.Entry{{Kind: loops.KindFill, Day: dayZero, Fill: &loops.Fill{Charge: charge}}}
	for look := range 3 {
		history = append(history, loops.Entry{Kind: loops.KindInspection, Day: dayZero.AddDays(100*(look+1) + i%90), Inspection: &reading})
	}
	if i%10 == 0 {
		history = append(history, loops.Entry{Kind: loops.KindOpening, Day: dayZero.AddDays(420 + i%200), Opening: &loops.Opening{Cause: loops.CauseClog}})
	}
	for n := range history {
		history[n].ID, history[n].Loop, history[n].Recorded, history[n].By = loops.EntryID(n+1), id, later(0).At, "bench"
	}
	return history
}

// BenchmarkLearn works out what 1,000 and 10,000 loops teach, histories read
// from the file each time.
func BenchmarkLearn(b *testing.B) {
	for _, n := range []int{1_000, 10_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			w := studyRegister(b, n)
			for b.Loop() {
				if _, err := w.Learn(b.Context(), later(900)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
