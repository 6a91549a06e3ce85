// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"iter"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
	"fillmark/loops/store/postgres"
	"fillmark/testdata/peer"
)

// opener opens an engine on a path, one on each.
type opener func(t require.TestingT, path string) engine.Engine

// engines has whatever it takes to open each engine that a store can be kept in.
var engines = map[string]func(t testing.TB) opener{"bolt": boltFiles, "postgres": postgresSchemas}

func boltFiles(testing.TB) opener {
	return func(t require.TestingT, path string) engine.Engine {
		err := bolt.Create(path, func(e engine.Engine) error {
			// So big that no reader, which a test holds open, keeps a writer waiting
			// for a larger map of the file.
			err := e.Update(func(tx engine.Writer) error {
				return errors.Join(tx.MakeBucket("some"), tx.Put("some", []byte("big"), make([]byte, 1<<20)))
			})
			if err != nil {
				return err
			}
			return e.Update(func(tx engine.Writer) error { return tx.Delete("some", []byte("big")) })
		})
		if !errors.Is(err, os.ErrExist) {
			require.NoError(t, err)
		}
		f, err := bolt.Open(path, engine.Options{})
		require.NoError(t, err)
		f.DB().NoSync = true
		return f
	}
}

// postgresSchemas gives each path a schema of its own in one server.
func postgresSchemas(t testing.TB) opener {
	server := peer.StartPostgres(t)
	return func(t require.TestingT, path string) engine.Engine {
		e, err := postgres.Open(schema(t, server, fmt.Sprintf("s%08x", store.Checksum([]byte(path)))), engine.Options{})
		require.NoError(t, err)
		return e
	}
}

// schema is the address of a schema, which is made unless it is there.
func schema(t require.TestingT, server *peer.Postgres, name string) string {
	conn, err := pgx.Connect(context.Background(), server.Address(""))
	require.NoError(t, err)
	_, err = conn.Exec(context.Background(), "CREATE SCHEMA IF NOT EXISTS "+name)
	require.NoError(t, errors.Join(err, conn.Close(context.Background())))
	return server.Address("&search_path=" + name)
}

// Every engine passes every one of these.
func TestEngines(t *testing.T) {
	t.Parallel()
	for name, start := range engines {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			open := start(t)
			for what, test := range map[string]func(t *testing.T, e engine.Engine){
				"byte order":            engineOrder,
				"ranges":                engineRanges,
				"long ranges":           engineLongRanges,
				"counters":              engineCounters,
				"buckets":               engineBuckets,
				"reads what it wrote":   engineReadsItsWrites,
				"readers stay":          engineReadersStay,
				"nothing after a fault": engineGivesUp,
				"conflict":              engineConflict,
				"big and empty values":  engineValues,
				"keys it refuses":       engineKeys,
				"many keys at once":     engineManyKeys,
				"revision":              engineRevision,
				"missing bucket":        engineMissingBucket,
				"is an ordered map":     engineIsAnOrderedMap,
			} {
				t.Run(what, func(t *testing.T) {
					t.Parallel()
					e := open(t, filepath.Join(t.TempDir(), "kept"))
					defer func() { require.NoError(t, e.Close()) }()
					written(t, e, func(tx engine.Writer) error {
						return errors.Join(tx.MakeBucket("other"), tx.MakeBucket("some"))
					})
					test(t, e)
				})
			}
			t.Run("keeps", func(t *testing.T) {
				t.Parallel()
				engineKeeps(t, open)
			})
		})
	}
}

// What was written is there once the engine is closed and opened again.
func engineKeeps(t *testing.T, open opener) {
	path := filepath.Join(t.TempDir(), "kept")
	e := open(t, path)
	written(t, e, func(tx engine.Writer) error {
		return errors.Join(tx.MakeBucket("some"), tx.Put("some", []byte("k"), []byte("v")), tx.SetSequence("some", 7))
	})
	require.NoError(t, e.Close())
	e = open(t, path)
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, []byte("v"), tx.Get("some", []byte("k")))
		assert.EqualValues(t, 7, tx.Sequence("some"))
	})
	require.NoError(t, e.Close())
}

// Whatever is put, deleted and given up, in whatever order, an engine holds what
// a map would, and each span of it both ways, whatever it is told ahead.
func engineIsAnOrderedMap(t *testing.T, e engine.Engine) {
	tried := 0
	rapid.Check(t, func(t *rapid.T) {
		tried++
		bucket := fmt.Sprint("map ", tried)
		written(t, e, func(tx engine.Writer) error { return tx.MakeBucket(bucket) })
		model := map[string]string{}
		for range rapid.IntRange(1, 5).Draw(t, "transactions") {
			model = draw(t, e, bucket, model)
		}
		look(t, e, func(tx engine.Reader) {
			span := engine.Span{From: drawBound(t, "from"), To: drawBound(t, "to")}
			if rapid.Bool().Draw(t, "ahead") {
				tx.Ahead(bucket, [][]byte{drawKey(t), drawKey(t)}, span)
			}
			for range 3 {
				key := drawKey(t)
				want, there := model[string(key)]
				got := tx.Get(bucket, key)
				require.Equal(t, there, got != nil)
				require.Equal(t, want, string(got))
			}
			require.Equal(t, model, maps.Collect(texts(tx.Ascend(bucket, engine.Span{}))))
			var want []string
			for _, k := range slices.Sorted(maps.Keys(model)) {
				if k >= string(span.From) && (span.To == nil || k < string(span.To)) {
					want = append(want, k)
				}
			}
			require.Equal(t, want, keys(tx.Ascend(bucket, span)))
			slices.Reverse(want)
			require.Equal(t, want, keys(tx.Descend(bucket, span)))
		})
	})
}

// step is one thing that a transaction does.
type step struct {
	key, value string
	deletes    bool
}

// draw runs one transaction on a bucket of the engine and on the map, and gives some up.
func draw(t *rapid.T, e engine.Engine, bucket string, model map[string]string) map[string]string {
	steps := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) step {
		return step{string(drawKey(t)), rapid.StringN(0, 4, 8).Draw(t, "value"), rapid.IntRange(0, 3).Draw(t, "deletes") == 0}
	}), 0, 20).Draw(t, "steps")
	after, fault := maps.Clone(model), error(nil)
	if rapid.Bool().Draw(t, "gives up") {
		fault = errors.New("given up")
	}
	err := e.Update(func(tx engine.Writer) error {
		for _, s := range steps {
			var err error
			tx.Ahead(bucket, [][]byte{[]byte(s.key)}, engine.Span{}) // before it is written to
			if s.deletes {
				delete(after, s.key)
				err = tx.Delete(bucket, []byte(s.key))
			} else {
				after[s.key] = s.value
				err = tx.Put(bucket, []byte(s.key), []byte(s.value))
			}
			want, there := after[s.key]
			if got := tx.Get(bucket, []byte(s.key)); err != nil || (got != nil) != there || string(got) != want {
				return errors.Join(fmt.Errorf("%+v gives %q", s, got), err)
			}
		}
		return fault
	})
	require.ErrorIs(t, err, fault)
	if fault != nil {
		return model
	}
	require.NoError(t, err)
	return after
}

// drawKey draws from few bytes, so that keys are met again and begin alike; the
// lowest and the highest byte are among them.
func drawKey(t *rapid.T) []byte {
	return rapid.SliceOfN(rapid.SampledFrom([]byte{0, 'a', 'b', 0x80, 0xff}), 1, 3).Draw(t, "key")
}

func drawBound(t *rapid.T, what string) []byte {
	if rapid.Bool().Draw(t, what+" is open") {
		return nil
	}
	return drawKey(t)
}

func written(t require.TestingT, e engine.Engine, fn func(engine.Writer) error) {
	require.NoError(t, e.Update(fn))
}

func look(t require.TestingT, e engine.Engine, fn func(engine.Reader)) {
	require.NoError(t, e.View(func(tx engine.Reader) error {
		fn(tx)
		return nil
	}))
}

// texts copies a range.
func texts(all iter.Seq2[[]byte, []byte]) iter.Seq2[string, string] {
	return func(yield func(k, v string) bool) {
		for k, v := range all {
			if !yield(string(k), string(v)) {
				return
			}
		}
	}
}

// keys copies the keys of a range.
func keys(all iter.Seq2[[]byte, []byte]) []string {
	var list []string
	for k := range texts(all) {
		list = append(list, k)
	}
	return list
}

// put puts keys whose values are the keys.
func put(list ...string) func(engine.Writer) error {
	return func(tx engine.Writer) error {
		for _, k := range list {
			if err := tx.Put("some", []byte(k), []byte(k)); err != nil {
				return err
			}
		}
		return nil
	}
}

// Bytes are ordered as numbers from 0 to 255, whatever letters a language knows.
func engineOrder(t *testing.T, e engine.Engine) {
	written(t, e, put("b", "\xff", "a\x00", "é", "B", "a", "\x00", "\xff\xff", "aa", "ä", "-"))
	want := []string{"\x00", "-", "B", "a", "a\x00", "aa", "b", "ä", "é", "\xff", "\xff\xff"}
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, want, keys(tx.Ascend("some", engine.Span{})))
		slices.Reverse(want)
		assert.Equal(t, want, keys(tx.Descend("some", engine.Span{})))
		assert.Empty(t, keys(tx.Ascend("other", engine.Span{})))
	})
}

func engineRanges(t *testing.T, e engine.Engine) {
	written(t, e, put("a", "b", "b\x00", "bb", "b\xff", "c", "\xff", "\xff\xff"))
	for _, c := range []struct {
		name string
		span engine.Span
		want []string
	}{
		{"to is left out", engine.Span{From: []byte("b"), To: []byte("c")}, []string{"b", "b\x00", "bb", "b\xff"}},
		{"from between keys", engine.Span{From: []byte("ba")}, []string{"bb", "b\xff", "c", "\xff", "\xff\xff"}},
		{"to between keys", engine.Span{To: []byte("ba")}, []string{"a", "b", "b\x00"}},
		{"before all", engine.Span{To: []byte("a")}, nil},
		{"behind all", engine.After([]byte("\xff\xff")), nil},
		{"to behind all", engine.Span{From: []byte("c"), To: []byte("\xff\xff\xff")}, []string{"c", "\xff", "\xff\xff"}},
		{"the wrong way round", engine.Span{From: []byte("c"), To: []byte("b")}, nil},
		{"a prefix", engine.Prefix([]byte("b")), []string{"b", "b\x00", "bb", "b\xff"}},
		{"a prefix without a next one", engine.Prefix([]byte("\xff")), []string{"\xff", "\xff\xff"}},
		{"the empty prefix", engine.Prefix(nil), []string{"a", "b", "b\x00", "bb", "b\xff", "c", "\xff", "\xff\xff"}},
		{"after", engine.After([]byte("b")), []string{"b\x00", "bb", "b\xff", "c", "\xff", "\xff\xff"}},
		{"after none", engine.After(nil), []string{"a", "b", "b\x00", "bb", "b\xff", "c", "\xff", "\xff\xff"}},
	} {
		look(t, e, func(tx engine.Reader) {
			assert.Equal(t, c.want, keys(tx.Ascend("some", c.span)), c.name)
			backwards := slices.Clone(c.want)
			slices.Reverse(backwards)
			assert.Equal(t, backwards, keys(tx.Descend("some", c.span)), c.name)
			if first, _ := engine.First(tx.Ascend("some", c.span)); len(c.want) > 0 {
				assert.Equal(t, c.want[0], string(first), c.name)
			} else {
				assert.Nil(t, first, c.name)
			}
		})
	}
}

// However many keys a span has, each comes once, and a range that was left in the
// middle can be read again.
func engineLongRanges(t *testing.T, e engine.Engine) {
	var want []string
	for n := range 2000 {
		want = append(want, fmt.Sprintf("%04d", n))
	}
	written(t, e, put(want...))
	look(t, e, func(tx engine.Reader) {
		tx.Ahead("some", [][]byte{[]byte("0003")}, engine.Span{}, engine.Span{From: []byte("0003")})
		for range 2 {
			assert.Equal(t, want, keys(tx.Ascend("some", engine.Span{})))
			assert.Equal(t, want[3:], keys(tx.Ascend("some", engine.Span{From: []byte("0003")})))
		}
		assert.Equal(t, want[7:1993], keys(tx.Ascend("some", engine.Span{From: []byte("0007"), To: []byte("1993")})))
		backwards := slices.Clone(want[7:1993])
		slices.Reverse(backwards)
		assert.Equal(t, backwards, keys(tx.Descend("some", engine.Span{From: []byte("0007"), To: []byte("1993")})))
		for range 2 {
			first, _ := engine.First(tx.Descend("some", engine.Span{}))
			assert.Equal(t, "1999", string(first))
		}
	})
}

// A counter is its bucket's own, and goes back with the transaction.
func engineCounters(t *testing.T, e engine.Engine) {
	for n := range uint64(3) {
		written(t, e, func(tx engine.Writer) error {
			got, err := engine.NextSequence(tx, "some")
			assert.Equal(t, n+1, got)
			return err
		})
	}
	fault := errors.New("given up")
	require.ErrorIs(t, e.Update(func(tx engine.Writer) error {
		return errors.Join(tx.SetSequence("some", 1<<40), fault)
	}), fault)
	const most = 1<<63 - 1
	written(t, e, func(tx engine.Writer) error {
		assert.EqualValues(t, 3, tx.Sequence("some"))
		return tx.SetSequence("other", most)
	})
	look(t, e, func(tx engine.Reader) {
		assert.EqualValues(t, 3, tx.Sequence("some"))
		assert.EqualValues(t, most, tx.Sequence("other"))
	})
}

func engineBuckets(t *testing.T, e engine.Engine) {
	written(t, e, put("k"))
	written(t, e, func(tx engine.Writer) error {
		return errors.Join(tx.MakeBucket("some"), tx.MakeBucket("a third"), tx.SetSequence("a third", 2))
	})
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, []string{"a third", "other", "some"}, tx.Buckets())
		assert.NotNil(t, tx.Get("some", []byte("k")), "made again it keeps what it holds")
		assert.Nil(t, tx.Get("other", []byte("k")))
	})
}

func engineReadsItsWrites(t *testing.T, e engine.Engine) {
	written(t, e, put("a", "b", "c"))
	written(t, e, func(tx engine.Writer) error {
		assert.NoError(t, tx.Delete("some", []byte("b")))
		assert.NoError(t, tx.Delete("some", []byte("never there")))
		assert.NoError(t, tx.Put("some", []byte("a"), []byte("new")))
		assert.NoError(t, tx.Put("some", []byte("empty"), nil))
		assert.Equal(t, []byte("new"), tx.Get("some", []byte("a")))
		assert.Nil(t, tx.Get("some", []byte("b")))
		assert.NotNil(t, tx.Get("some", []byte("empty")), "an empty value is there")
		assert.Equal(t, []string{"a", "c", "empty"}, keys(tx.Ascend("some", engine.Span{})))
		assert.Equal(t, []string{"empty", "c", "a"}, keys(tx.Descend("some", engine.Span{})))
		return tx.Put("some", []byte("c"), nil)
	})
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, map[string]string{"a": "new", "c": "", "empty": ""}, maps.Collect(texts(tx.Ascend("some", engine.Span{}))))
	})
}

// A reader sees one moment, however much is written while it reads.
func engineReadersStay(t *testing.T, e engine.Engine) {
	written(t, e, put("a", "b"))
	began, done := make(chan struct{}), make(chan error)
	go func() {
		<-began
		done <- e.Update(func(tx engine.Writer) error {
			return errors.Join(tx.Delete("some", []byte("a")), tx.Put("some", []byte("b"), []byte("new")), put("c")(tx))
		})
	}()
	look(t, e, func(tx engine.Reader) {
		revision, value := tx.Revision(), tx.Get("some", []byte("b"))
		close(began)
		assert.NoError(t, <-done)
		assert.Equal(t, map[string]string{"a": "a", "b": "b"}, maps.Collect(texts(tx.Ascend("some", engine.Span{}))))
		assert.Equal(t, "b", string(value))
		assert.Equal(t, revision, tx.Revision())
	})
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, map[string]string{"b": "new", "c": "c"}, maps.Collect(texts(tx.Ascend("some", engine.Span{}))))
	})
}

// An error leaves nothing behind, and the engine goes on.
func engineGivesUp(t *testing.T, e engine.Engine) {
	written(t, e, put("a"))
	fault := errors.New("given up")
	require.ErrorIs(t, e.Update(func(tx engine.Writer) error {
		return errors.Join(put("b")(tx), tx.Delete("some", []byte("a")), tx.MakeBucket("new"), fault)
	}), fault)
	require.ErrorIs(t, e.View(func(engine.Reader) error { return fault }), fault)
	written(t, e, put("c"))
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, []string{"a", "c"}, keys(tx.Ascend("some", engine.Span{})))
		assert.Equal(t, []string{"other", "some"}, tx.Buckets())
	})
}

// Of those who read a value and write what follows from it, none is lost, and
// nobody sees two values that were never there together.
func engineConflict(t *testing.T, e engine.Engine) {
	const writers, each = 4, 25
	var all sync.WaitGroup
	count := func(tx engine.Reader, bucket string) uint64 {
		var n uint64
		_, _ = fmt.Sscan(string(tx.Get(bucket, []byte("n"))), &n) // zero at first
		return n
	}
	for range writers {
		all.Go(func() {
			for range each {
				assert.NoError(t, e.Update(func(tx engine.Writer) error {
					some, other := count(tx, "some"), count(tx, "other")
					if some != other {
						return fmt.Errorf("%d here and %d there", some, other)
					}
					return errors.Join(
						tx.Put("some", []byte("n"), fmt.Append(nil, some+1)),
						tx.Put("other", []byte("n"), fmt.Append(nil, some+1)),
					)
				}))
				assert.NoError(t, e.View(func(tx engine.Reader) error {
					if some, other := count(tx, "some"), count(tx, "other"); some != other {
						return fmt.Errorf("%d here and %d there", some, other)
					}
					return nil
				}))
			}
		})
	}
	all.Wait()
	look(t, e, func(tx engine.Reader) { assert.EqualValues(t, writers*each, count(tx, "some")) })
}

func engineValues(t *testing.T, e engine.Engine) {
	big := bytes.Repeat([]byte{0, 1, 0xfe, 0xff, '\n'}, 1<<20)
	written(t, e, func(tx engine.Writer) error {
		return errors.Join(tx.Put("some", []byte("big"), big), tx.Put("some", []byte("empty"), []byte{}), put("small")(tx))
	})
	look(t, e, func(tx engine.Reader) {
		assert.True(t, bytes.Equal(big, tx.Get("some", []byte("big"))))
		empty := tx.Get("some", []byte("empty"))
		assert.NotNil(t, empty)
		assert.Empty(t, empty)
		assert.Equal(t, []string{"big", "empty", "small"}, keys(tx.Ascend("some", engine.Span{})))
	})
}

func engineKeys(t *testing.T, e engine.Engine) {
	longest := bytes.Repeat([]byte{'k'}, 1024)
	written(t, e, func(tx engine.Writer) error { return tx.Put("some", longest, nil) })
	require.Error(t, e.Update(func(tx engine.Writer) error { return tx.Put("some", nil, []byte("value")) }))
	look(t, e, func(tx engine.Reader) {
		assert.Equal(t, []string{string(longest)}, keys(tx.Ascend("some", engine.Span{})))
	})
}

// A revision stays while nothing is written, and a writer has that of what it
// found.
func engineRevision(t *testing.T, e engine.Engine) {
	revision := func() (n uint64) {
		look(t, e, func(tx engine.Reader) { n = tx.Revision() })
		return n
	}
	first := revision()
	assert.Equal(t, first, revision())
	written(t, e, func(tx engine.Writer) error {
		assert.Equal(t, first, tx.Revision())
		return put("a")(tx)
	})
	second := revision()
	assert.Greater(t, second, first)
	fault := errors.New("given up")
	require.ErrorIs(t, e.Update(func(tx engine.Writer) error { return errors.Join(put("b")(tx), fault) }), fault)
	assert.Equal(t, second, revision())
}

// What is asked of a bucket that is not there is an error of the transaction,
// whatever fn makes of the answer, and a write beside it is not kept.
func engineMissingBucket(t *testing.T, e engine.Engine) {
	for name, ask := range map[string]func(tx engine.Reader){
		"get":      func(tx engine.Reader) { tx.Get("none", []byte("k")) },
		"ascend":   func(tx engine.Reader) { engine.First(tx.Ascend("none", engine.Span{})) },
		"descend":  func(tx engine.Reader) { engine.First(tx.Descend("none", engine.Span{})) },
		"sequence": func(tx engine.Reader) { tx.Sequence("none") },
	} {
		err := e.View(func(tx engine.Reader) error {
			ask(tx)
			return nil
		})
		require.ErrorIs(t, err, loops.ErrDamaged, name)
		require.ErrorContains(t, err, `"none"`, name)
		require.ErrorIs(t, e.Update(func(tx engine.Writer) error {
			err := put(name)(tx)
			ask(tx)
			return err
		}), loops.ErrDamaged, name)
	}
	require.Error(t, e.Update(func(tx engine.Writer) error { return tx.Put("none", []byte("k"), nil) }))
	look(t, e, func(tx engine.Reader) { assert.Empty(t, keys(tx.Ascend("some", engine.Span{}))) })
}

// Several keys are read at once, those that are not there among them, in the order in
// which they were asked for; what the transaction writes meanwhile counts.
func engineManyKeys(t *testing.T, e engine.Engine) {
	var keys [][]byte
	written(t, e, func(tx engine.Writer) error {
		var err error
		keys = nil
		for n := range 1500 {
			key := fmt.Appendf(nil, "%05d", n)
			keys = append(keys, key)
			if n%3 != 0 {
				err = errors.Join(err, tx.Put("some", key, fmt.Append(nil, n)))
			}
		}
		return errors.Join(err, tx.Put("other", keys[0], []byte("of the other")))
	})
	slices.Reverse(keys)
	wants := func(tx engine.Reader, but map[int]string) {
		t.Helper()
		for i, value := range tx.GetMany("some", keys) {
			n := len(keys) - 1 - i
			want, there := but[n]
			if !there && n%3 != 0 {
				want, there = fmt.Sprint(n), true
			}
			if !assert.Equal(t, there, value != nil, n) || !assert.Equal(t, want, string(value), n) {
				return
			}
		}
	}
	look(t, e, func(tx engine.Reader) {
		assert.Empty(t, tx.GetMany("some", nil))
		assert.Equal(t, "of the other", string(tx.GetMany("other", [][]byte{keys[len(keys)-1]})[0]))
		wants(tx, nil)
		wants(tx, nil)
	})
	written(t, e, func(tx engine.Writer) error {
		wants(tx, nil)
		err := errors.Join(tx.Put("some", []byte("00003"), []byte("now")), tx.Put("some", []byte("00004"), nil), tx.Delete("some", []byte("00006")))
		wants(tx, map[int]string{3: "now", 4: ""})
		assert.NotNil(t, tx.Get("some", []byte("00004")))
		return err
	})
}
