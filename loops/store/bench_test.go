// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/testdata/peer"
)

// The benchmarks run on a register of 10^4 loops with ten entries each, and
// with FILLMARK_BENCH=full on 10^5 too; FILLMARK_BENCH_LOOPS=n sets another
// number. doc/store.md has a table of what they measured.
func sizes(b *testing.B) []int {
	if text := os.Getenv("FILLMARK_BENCH_LOOPS"); text != "" {
		var n int
		_, err := fmt.Sscan(text, &n)
		require.NoError(b, err)
		return []int{n}
	}
	if os.Getenv("FILLMARK_BENCH") == "full" {
		return []int{10_000, 100_000}
	}
	return []int{10_000}
}

const entriesEach = 10

// register fills a store: an owner and a machine for every loop. It writes
// many loops in one change, and without syncs, which change nothing in the
// file.
func register(b *testing.B, n int) string {
	b.Helper()
	path := filepath.Join(b.TempDir(), "shop.fillmark")
	s, err := store.Open(path, store.Options{})
	require.NoError(b, err)
	store.SetNoSync(s, true)
	random := rand.New(rand.NewPCG(1, uint64(n)))
	start := loops.Day{Year: 2020, Month: 1, Dom: 1}
	for id := 1; id <= n; {
		c := change("register")
		for ; id <= n && len(c.Loops) < 500; id++ {
			owner, machine, loop := loops.OwnerID(id), loops.MachineID(id), loops.LoopID(id)
			c.Owners = append(c.Owners, loops.Owner{ID: owner, Name: fmt.Sprintf("Owner %d", id), Email: fmt.Sprintf("owner%d@garden.example", id)})
			c.Machines = append(c.Machines, loops.Machine{ID: machine, Owner: owner, Kind: loops.Desktop, Name: "tower"})
			l := loops.Loop{ID: loop, Machine: machine, Tag: tag(uint64(id)), LastEntry: entriesEach,
				Construction: loops.Construction{Sealed: true, Volume: 0.6}}
			var history []loops.Entry
			for e := range loops.EntryID(entriesEach) {
				history = append(history, fillEntry(loop, e+1, start.AddDays(random.IntN(2000))))
			}
			l.State, l.Plan = loops.Fold(history), aPlan(start.AddDays(2000+random.IntN(700)))
			c.Loops, c.Entries = append(c.Loops, l), append(c.Entries, history...)
		}
		require.NoError(b, s.Commit(c))
	}
	store.SetNoSync(s, false)
	require.NoError(b, s.Close())
	return path
}

// BenchmarkStore measures what the register's size could slow down.
func BenchmarkStore(b *testing.B) {
	for _, n := range sizes(b) {
		b.Run(fmt.Sprintf("loops=%d", n), func(b *testing.B) {
			path := register(b, n)
			b.Run("open", func(b *testing.B) { benchmarkOpen(b, path) })
			s, err := store.Open(path, store.Options{})
			require.NoError(b, err)
			anyLoop := benchmarkReads(b, s, n)
			b.Run("write", func(b *testing.B) { benchmarkWrite(b, s, anyLoop, bareUpdate(s)) })
			text := exportOf(b, s)
			require.NoError(b, s.Close())
			b.Run("import", func(b *testing.B) {
				benchmarkImport(b, text, func() string { return filepath.Join(b.TempDir(), "imported") })
			})
		})
	}
}

// BenchmarkDatabase measures the same register in a database on this machine, which
// syncs as one does, over a Unix socket.
func BenchmarkDatabase(b *testing.B) {
	server := peer.StartPostgres(b)
	conn, err := pgx.Connect(b.Context(), server.Address(""))
	require.NoError(b, err)
	for _, statement := range []string{
		"ALTER SYSTEM SET fsync = on", "SELECT pg_reload_conf()",
		"CREATE TABLE bare (bucket bytea, key bytea, value bytea, PRIMARY KEY (bucket, key))",
	} {
		_, err := conn.Exec(b.Context(), statement)
		require.NoError(b, err)
	}
	for _, n := range sizes(b) {
		b.Run(fmt.Sprintf("loops=%d", n), func(b *testing.B) {
			from, err := store.Open(register(b, n), store.Options{})
			require.NoError(b, err)
			text := exportOf(b, from)
			require.NoError(b, from.Close())
			address := schema(b, server, fmt.Sprint("loops", n))
			require.NoError(b, store.Import(b.Context(), address, bytes.NewReader(text)))
			b.Run("size", func(b *testing.B) {
				var size float64
				for b.Loop() {
					require.NoError(b, conn.QueryRow(b.Context(), "SELECT pg_total_relation_size($1::text::regclass)::float8", fmt.Sprintf("loops%d.fillmark", n)).Scan(&size))
				}
				b.ReportMetric(size/1e6, "table-MB")
			})
			s, err := store.Open(address, store.Options{})
			require.NoError(b, err)
			anyLoop := benchmarkReads(b, s, n)
			b.Run("write", func(b *testing.B) { benchmarkWrite(b, s, anyLoop, bareInsert(conn)) })
			require.NoError(b, s.Close())
			imports := 0
			b.Run("import", func(b *testing.B) {
				benchmarkImport(b, text, func() string { imports++; return schema(b, server, fmt.Sprintf("imported%d_%d", n, imports)) })
			})
		})
	}
	require.NoError(b, conn.Close(context.Background()))
}

// benchmarkImport makes a register of an export, with its indexes, its states folded
// again and all of it checked.
func benchmarkImport(b *testing.B, text []byte, place func() string) {
	for b.Loop() {
		require.NoError(b, store.Import(b.Context(), place(), bytes.NewReader(text)))
	}
}

// benchmarkReads reads here and there, and returns what draws a loop.
func benchmarkReads(b *testing.B, s *store.Store, n int) func() loops.LoopID {
	random := rand.New(rand.NewPCG(2, uint64(n)))
	anyLoop := func() loops.LoopID { return loops.LoopID(random.IntN(n) + 1) }
	b.Run("read loop", func(b *testing.B) {
		for b.Loop() {
			_, err := s.Loop(anyLoop())
			require.NoError(b, err)
		}
	})
	b.Run("read history", func(b *testing.B) {
		for b.Loop() {
			_, err := s.History(anyLoop())
			require.NoError(b, err)
		}
	})
	b.Run("loops of an owner", func(b *testing.B) {
		for b.Loop() {
			machines, err := s.MachinesOf(loops.OwnerID(anyLoop()))
			require.NoError(b, err)
			_, err = s.LoopsOf(machines[0].ID)
			require.NoError(b, err)
		}
	})
	b.Run("walk through the loops", func(b *testing.B) {
		for b.Loop() {
			for _, err := range s.Loops() {
				require.NoError(b, err)
			}
		}
	})
	b.Run("due on a day", func(b *testing.B) {
		for b.Loop() {
			_, err := s.DueThrough(loops.Day{Year: 2025, Month: 6, Dom: 24})
			require.NoError(b, err)
		}
	})
	b.Run("check", func(b *testing.B) {
		for b.Loop() {
			report, err := s.Check(b.Context())
			require.NoError(b, err)
			require.True(b, report.OK())
		}
	})
	return anyLoop
}

func benchmarkOpen(b *testing.B, path string) {
	info, err := os.Stat(path)
	require.NoError(b, err)
	var before, after runtime.MemStats
	for b.Loop() {
		s, err := store.Open(path, store.Options{})
		require.NoError(b, err)
		require.NoError(b, s.Close())
	}
	runtime.GC()
	runtime.ReadMemStats(&before)
	s, err := store.Open(path, store.Options{})
	require.NoError(b, err)
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(info.Size())/1e6, "file-MB")
	b.ReportMetric(float64(after.HeapAlloc-min(before.HeapAlloc, after.HeapAlloc))/1e3, "heap-kB")
	require.NoError(b, s.Close())
}

// benchmarkWrite appends an entry to any loop and moves its due day, by a
// commit and barely, with the same bytes and nothing of ours. The two take turns, so that
// whatever else the disk has to do hits them alike, and the medians are
// reported. Commits to a file without a sync come afterwards, since the next sync would
// have to write their pages too.
func benchmarkWrite(b *testing.B, s *store.Store, anyLoop func() loops.LoopID, barely func([]keyed, []byte) error) {
	var commit, noSync, bare []time.Duration
	take := func(list *[]time.Duration, write func() error) {
		start := time.Now()
		require.NoError(b, write())
		*list = append(*list, time.Since(start))
	}
	read := func() loops.Loop {
		was, err := s.Loop(anyLoop())
		require.NoError(b, err)
		return was
	}
	for b.Loop() {
		c := next(read())
		take(&commit, func() error { return s.Commit(c) })
		was := read()
		all, gone := puts(b, was, next(was))
		take(&bare, func() error { return barely(all, gone) })
	}
	median := func(list []time.Duration) float64 {
		slices.Sort(list)
		return float64(list[len(list)/2]) / 1e3
	}
	b.ReportMetric(0, "ns/op") // of both together: says nothing
	b.ReportMetric(median(commit), "commit-µs")
	b.ReportMetric(median(bare), "bare-update-µs")
	b.ReportMetric(median(commit)/median(bare), "commit/bare")
	if store.SetNoSync(s, true) {
		for range len(commit) {
			c := next(read())
			take(&noSync, func() error { return s.Commit(c) })
		}
		store.SetNoSync(s, false)
		b.ReportMetric(median(noSync), "commit-without-sync-µs")
	}
}

// next is a change of one more entry.
func next(was loops.Loop) loops.Change {
	l := was
	l.LastEntry++
	entry := fillEntry(l.ID, l.LastEntry, loops.Day{Year: 2026, Month: 12, Dom: 3})
	l.State, l.Plan = loops.Fold([]loops.Entry{entry}), aPlan(l.Plan.Tasks[0].Due.AddDays(1))
	c := change("fill")
	c.Loops, c.Entries = []loops.Loop{l}, []loops.Entry{entry}
	return c
}

// keyed is a key with its value. An audit line has none: it is the next one.
type keyed struct {
	bucket     string
	key, value []byte
}

// puts are the keys and bytes that a commit of the change to the loop puts, and the
// due line that it deletes.
func puts(b *testing.B, was loops.Loop, c loops.Change) (all []keyed, gone []byte) {
	b.Helper()
	line, err := store.EncodeAudit(loops.AuditLine{At: noon, By: "local:test", Action: "fill", On: "loop 12345, entry 11 of loop 12345"})
	require.NoError(b, err)
	l := c.Loops[0]
	l.Revision++
	loop, err := store.EncodeLoop(l)
	require.NoError(b, err)
	entry, err := store.EncodeEntry(c.Entries[0])
	require.NoError(b, err)
	gone, err = store.DueKey(was.Dues()[0])
	require.NoError(b, err)
	due, err := store.DueKey(l.Dues()[0])
	require.NoError(b, err)
	return []keyed{
		{"loops", store.IDKey(l.ID), loop}, {"history", store.HistoryKey(l.ID, l.LastEntry), entry}, {"due", due, nil}, {"audit", nil, line},
	}, gone
}

// bareUpdate puts them into the file by bbolt alone.
func bareUpdate(s *store.Store) func([]keyed, []byte) error {
	return func(all []keyed, gone []byte) error {
		return store.BareUpdate(s, func(tx *bolt.Tx) error {
			err := tx.Bucket([]byte("due")).Delete(gone)
			for _, p := range all {
				bucket := tx.Bucket([]byte(p.bucket))
				if p.key == nil {
					n, counted := bucket.NextSequence()
					p.key, err = store.IDKey(loops.LoopID(n)), errors.Join(err, counted)
				}
				err = errors.Join(err, bucket.Put(p.key, p.value))
			}
			return err
		})
	}
}

// bareInsert inserts them into a table of their own, in a transaction of one
// statement: nothing of a key is looked up, and nothing is there already.
func bareInsert(conn *pgx.Conn) func([]keyed, []byte) error {
	n := loops.LoopID(0)
	return func(all []keyed, _ []byte) error {
		var values []string
		var args []any
		for _, p := range all {
			n++
			values = append(values, fmt.Sprintf("($%d, $%d, $%d)", len(args)+1, len(args)+2, len(args)+3))
			args = append(args, []byte(p.bucket), append(slices.Clone(p.key), store.IDKey(n)...), append([]byte{}, p.value...))
		}
		tx, err := conn.Begin(context.Background())
		if err != nil {
			return err
		}
		_, err = tx.Exec(context.Background(), "INSERT INTO bare (bucket, key, value) VALUES "+strings.Join(values, ", "), args...)
		return errors.Join(err, tx.Commit(context.Background()))
	}
}
