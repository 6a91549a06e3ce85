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
	"fillmark/testdata/peer"
)

// register of n loops in service, one owner and machine each, of which so many
// are due on the day and the others years later.
func benchRegister(b testing.TB, n, due int, day loops.Day) bench {
	b.Helper()
	return benchRegisterAt(b, filepath.Join(b.TempDir(), "register.db"), n, due, day)
}

func benchRegisterAt(b testing.TB, path string, n, due int, day loops.Day) bench {
	b.Helper()
	s, err := store.Open(path, store.Options{})
	require.NoError(b, err)
	b.Cleanup(func() { require.NoError(b, s.Close()) })
	policy := schedule.DefaultPolicy()
	w := workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8, Policy: policy,
	}, rand.Reader, keys(b, 1))
	filled := day.AddMonths(-24)
	tags := map[loops.Tag]bool{}
	firstOwner, err := s.NewOwnerIDs(n)
	require.NoError(b, err)
	firstMachine, err := s.NewMachineIDs(n)
	require.NoError(b, err)
	firstLoop, err := s.NewLoopIDs(n)
	require.NoError(b, err)
	for first := 1; first <= n; first += 1000 {
		change := loops.Change{At: day.At(1, time.UTC), By: "bench", Action: "bench"}
		for i := first; i < first+1000 && i <= n; i++ {
			owner, machine, id := firstOwner+loops.OwnerID(i-1), firstMachine+loops.MachineID(i-1), firstLoop+loops.LoopID(i-1)
			tag, err := loops.NewTag(rand.Reader)
			require.NoError(b, err)
			for tags[tag] {
				tag, err = loops.NewTag(rand.Reader)
				require.NoError(b, err)
			}
			tags[tag] = true
			charge := loops.Charge{Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), Volume: 0.48, Origin: loops.WorkshopFill, FilledFrom: filled, FilledTo: filled}
			history := []loops.Entry{
				{ID: 1, Loop: id, Recorded: change.At, Day: filled, By: "bench", Kind: loops.KindFill, Fill: &loops.Fill{Charge: charge}},
				{ID: 2, Loop: id, Recorded: change.At, Day: filled.AddDays(1), By: "bench", Kind: loops.KindHandover, Handover: &loops.Handover{Consent: loops.Consent{Mail: true}}},
			}
			loop := loops.Loop{ID: id, Machine: machine, Tag: tag, LastEntry: 2, Construction: loops.Construction{Volume: 0.5}, State: loops.Fold(history)}
			when := day
			if i > due {
				when = day.AddMonths(36 + i%24)
			}
			loop.Plan = loops.Plan{PolicyVersion: policy.Version, Tasks: []loops.Task{{Kind: loops.Look, Due: when, Clauses: []loops.Clause{{
				Kind: loops.ByInterval, Day: when, Text: "Look over every 3 months; filled.", Source: "common practice, no source", Grade: schedule.GradeCommon}}}}}
			change.Owners = append(change.Owners, loops.Owner{ID: owner, Name: fmt.Sprintf("Owner %d", i), Email: fmt.Sprintf("owner%d@garden.example", i), Consent: loops.Consent{Mail: true}})
			change.Machines = append(change.Machines, loops.Machine{ID: machine, Owner: owner, Kind: loops.Desktop, Name: "the grey tower"})
			change.Loops = append(change.Loops, loop)
			change.Entries = append(change.Entries, history...)
		}
		require.NoError(b, s.Commit(change))
	}
	return bench{w, s}
}

// BenchmarkSweep sweeps with 1,000 due loops of 10,000 and of 100,000: the
// first sweep composes and commits 1,000 mails and is reported beside; the
// loop measures the sweeps after it, which find all of them mailed.
func BenchmarkSweep(b *testing.B) {
	benchmarkSweep(b, func(b *testing.B) string { return filepath.Join(b.TempDir(), "register.db") })
}

// BenchmarkSweepInADatabase is the same in a database on this machine.
func BenchmarkSweepInADatabase(b *testing.B) {
	benchmarkSweep(b, func(b *testing.B) string { return peer.StartPostgres(b).Address("") })
}

func benchmarkSweep(b *testing.B, place func(*testing.B) string) {
	day := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	for _, n := range []int{10_000, 100_000} {
		b.Run(fmt.Sprintf("loops=%d", n), func(b *testing.B) {
			w := benchRegisterAt(b, place(b), n, 1000, day)
			stamp := workshop.Stamp{At: day.At(9, time.UTC), By: "bench"}
			begun := time.Now()
			swept, err := w.Sweep(stamp)
			require.NoError(b, err)
			first := time.Since(begun)
			require.Len(b, swept.Reminders, 1000)
			for b.Loop() {
				if swept, err := w.Sweep(stamp); err != nil || len(swept.Reminders) > 0 {
					b.Fatal(err, len(swept.Reminders))
				}
			}
			b.ReportMetric(float64(first.Milliseconds()), "ms-first")
		})
	}
}

// BenchmarkReplan brings every plan up to date with another policy.
func BenchmarkReplan(b *testing.B) {
	day := loops.Day{Year: 2026, Month: time.June, Dom: 15}
	for _, n := range []int{10_000, 100_000} {
		b.Run(fmt.Sprintf("loops=%d", n), func(b *testing.B) {
			w := benchRegister(b, n, 1000, day)
			months := 5
			for b.Loop() {
				months = 11 - months
				done, err := w.withPolicy(b, months).Replan(b.Context(), workshop.Stamp{At: day.At(9, time.UTC), By: "bench"}, 256)
				if err != nil || done.Renewed != n {
					b.Fatal(err, done)
				}
			}
		})
	}
}
