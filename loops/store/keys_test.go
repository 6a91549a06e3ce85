// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store_test

import (
	"bytes"
	"cmp"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/loops/store"
)

func drawDay(t *rapid.T, label string) loops.Day {
	first := loops.Day{Year: loops.MinYear, Month: time.January, Dom: 1}
	return first.AddDays(rapid.IntRange(0, 84000).Draw(t, label))
}

func drawDue(t *rapid.T, label string) loops.Due {
	return loops.Due{
		Day:  drawDay(t, label+" day"),
		Loop: loops.LoopID(rapid.Uint64().Draw(t, label+" loop")),
		Task: rapid.SampledFrom(loops.TaskKinds()).Draw(t, label+" task"),
	}
}

func drawInstant(t *rapid.T, label string) time.Time {
	return time.Unix(rapid.Int64Range(0, 7_258_000_000).Draw(t, label), rapid.Int64Range(0, 999_999_999).Draw(t, label+" ns"))
}

// Byte order of the keys is the order of the values, and decoding gives back
// what was encoded.
func TestKeyOrder(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, b := loops.LoopID(rapid.Uint64().Draw(t, "a")), loops.LoopID(rapid.Uint64().Draw(t, "b"))
		assert.Equal(t, cmp.Compare(a, b), bytes.Compare(store.IDKey(a), store.IDKey(b)))

		ea, eb := loops.EntryID(rapid.Uint64().Draw(t, "ea")), loops.EntryID(rapid.Uint64().Draw(t, "eb"))
		assert.Equal(t, cmp.Or(cmp.Compare(a, b), cmp.Compare(ea, eb)),
			bytes.Compare(store.HistoryKey(a, ea), store.HistoryKey(b, eb)))

		da, db := drawDue(t, "da"), drawDue(t, "db")
		ka, err := store.DueKey(da)
		require.NoError(t, err)
		kb, err := store.DueKey(db)
		require.NoError(t, err)
		assert.Equal(t, cmp.Or(da.Day.Compare(db.Day), cmp.Compare(da.Loop, db.Loop), cmp.Compare(da.Task, db.Task)), bytes.Compare(ka, kb))
		dueBack, err := store.DecodeDueKey(ka)
		require.NoError(t, err)
		assert.Equal(t, da, dueBack)

		ta, tb := drawInstant(t, "ta"), drawInstant(t, "tb")
		ia, err := store.InstantKey(ta, "1/2026-12-03/reminder")
		require.NoError(t, err)
		ib, err := store.InstantKey(tb, "1/2026-12-03/reminder")
		require.NoError(t, err)
		assert.Equal(t, cmp.Compare(ta.Unix(), tb.Unix()), bytes.Compare(ia, ib))
		at, key, err := store.DecodeInstant(ia)
		require.NoError(t, err)
		assert.True(t, ta.Truncate(time.Second).Equal(at))
		assert.Equal(t, loops.MessageKey("1/2026-12-03/reminder"), key)
	})
}

func TestSentKeyBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		due := drawDue(t, "due")
		mark := loops.Sent{
			Loop: due.Loop, Task: due.Task, Due: due.Day,
			Stage: rapid.SampledFrom([]loops.Stage{loops.StageAhead, loops.StageDue, loops.StageLate, loops.StageLast, loops.StageCall}).Draw(t, "stage"),
		}
		key, err := store.SentKey(mark)
		require.NoError(t, err)
		back, err := store.DecodeSentKey(key)
		require.NoError(t, err)
		assert.Equal(t, mark, back)
	})
}

// Some keys of marks have the width of two or more ids and are none.
func TestPrintKey(t *testing.T) {
	t.Parallel()
	mark := loops.Sent{Loop: 7, Task: "refill-now", Due: loops.Day{Year: 2026, Month: time.December, Dom: 3}, Stage: loops.StageDue}
	key, err := store.SentKey(mark)
	require.NoError(t, err)
	require.Zero(t, len(key)%8)
	assert.Equal(t, "7/2026-12-03/refill-now/due", store.PrintKey("sent", key))
	assert.Equal(t, "7/3", store.PrintKey("history", store.HistoryKey(7, 3)))
}

func TestTagKeyBack(t *testing.T) {
	t.Parallel()
	key, err := store.TagKey("7K3QXA", 12)
	require.NoError(t, err)
	tag, loop, err := store.DecodeTagKey(key)
	require.NoError(t, err)
	assert.Equal(t, loops.Tag("7K3QXA"), tag)
	assert.Equal(t, loops.LoopID(12), loop)
	for _, bad := range []loops.Tag{"", "7K3QX", "7K3QXAA", "7k3qxa", "7K3Q A"} {
		_, err := store.TagKey(bad, 12)
		assert.Error(t, err, bad)
	}
}

// FuzzDecodeBody holds the quick way of reading a text to what the decoder of all
// records makes of it.
func FuzzDecodeBody(f *testing.F) {
	for _, text := range []string{
		`{"v":1,"record":{"key":"7/2026-12-03/reminder","raw":"RnJvbTo="}}`, `{"v":1,"record":{"key":"7","raw":""}}`, `{"v":1,"record":{"key":"7","raw":null}}`,
		`{"v":1,"record":{"key":"7","raw":"Rn\nJv"}}`, "{\"v\":1,\"record\":{\"key\":\"7\",\"raw\":\"Rn\nJv\"}}", `{"v":1,"record":{"key":"7\u0041","raw":"RnJv"}}`,
		"{\"v\":1,\"record\":{\"key\":\"7\xff\",\"raw\":\"RnJv\"}}", `{"v":1,"record":{"key":"7","raw":"RnJ"}}`, `{"v":1,"record":{"key":"7","raw":"RnJv","more":1}}`,
		`{"v":1,"record":{"key":"7","raw":"RnJv"}}}}`, `{"v":2,"record":{"key":"7","raw":"RnJv"}}`, `{"v":1,"record":{"raw":"RnJv","key":"7"}}`,
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		stored := stored(string(text))
		key, raw, err := store.DecodeBody(stored)
		sameKey, sameRaw, failed := store.DecodeBodySlowly(stored)
		assert.Equal(t, failed == nil, err == nil)
		if err == nil {
			assert.Equal(t, sameKey, key)
			assert.Equal(t, sameRaw, raw)
		}
	})
}

// FuzzDecodeKey holds every decoder to accept only what its encoder writes.
func FuzzDecodeKey(f *testing.F) {
	f.Add([]byte("2026-12-03\x00\x00\x00\x00\x00\x00\x00\x07look"))
	f.Add([]byte("\x00\x00\x00\x00\x00\x00\x00\x072026-12-03look/due"))
	f.Add([]byte("2026-12-03T08:00:00Z7/2026-12-03/reminder"))
	f.Add([]byte("7K3QXA\x00\x00\x00\x00\x00\x00\x00\x07"))
	f.Fuzz(func(t *testing.T, key []byte) {
		if l, e, err := store.DecodeHistoryKey(key); err == nil {
			assert.Equal(t, key, store.HistoryKey(l, e))
		}
		if d, err := store.DecodeDueKey(key); err == nil {
			back, err := store.DueKey(d)
			assert.NoError(t, err)
			assert.Equal(t, key, back)
		}
		if s, err := store.DecodeSentKey(key); err == nil {
			back, err := store.SentKey(s)
			assert.NoError(t, err)
			assert.Equal(t, key, back)
		}
		if at, m, err := store.DecodeInstant(key); err == nil {
			back, err := store.InstantKey(at, m)
			assert.NoError(t, err)
			assert.Equal(t, key, back)
		}
		if tag, l, err := store.DecodeTagKey(key); err == nil {
			back, err := store.TagKey(tag, l)
			assert.NoError(t, err)
			assert.Equal(t, key, back)
		}
		for _, name := range store.Buckets() {
			assert.NotPanics(t, func() { store.PrintKey(name, key) })
		}
	})
}

// The CRC32C examples of RFC 3720 appendix B.4, whose bytes are written there
// in the order they go over the wire: aa 36 91 8a is 0x8a9136aa.
func TestChecksumAgainstRFC3720(t *testing.T) {
	t.Parallel()
	rising, falling := make([]byte, 32), make([]byte, 32)
	for i := range rising {
		rising[i], falling[i] = byte(i), byte(31-i)
	}
	read10 := make([]byte, 48) // the "iSCSI - SCSI Read (10) Command PDU"
	copy(read10, []byte{0x01, 0xc0})
	copy(read10[16:], []byte{0x14, 0, 0, 0, 0, 0, 0x04, 0, 0, 0, 0, 0x14, 0, 0, 0, 0x18, 0x28})
	read10[40] = 0x02
	for _, c := range []struct {
		name string
		in   []byte
		want uint32
	}{
		{"32 bytes of zeroes", make([]byte, 32), 0x8a9136aa},
		{"32 bytes of ones", bytes.Repeat([]byte{0xff}, 32), 0x62a8ab43},
		{"32 bytes rising", rising, 0x46dd794e},
		{"32 bytes falling", falling, 0x113fdb5c},
		{"SCSI Read (10)", read10, 0xd9963a56},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, c.want, store.Checksum(c.in))
		})
	}
}
