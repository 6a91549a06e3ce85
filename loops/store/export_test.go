// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"context"

	"go.etcd.io/bbolt"

	"fillmark/loops"
	"fillmark/loops/store/bolt"
	"fillmark/loops/store/engine"
)

// What the tests of the package's outside need of its inside.
var (
	Checksum      = checksum
	TagKey        = tagKey
	DecodeTagKey  = decodeTagKey
	DueKey        = dueKey
	DecodeDueKey  = decodeDueKey
	SentKey       = sentKey
	DecodeSentKey = decodeSentKey
	InstantKey    = instantKey
	DecodeInstant = decodeInstantKey
	Buckets       = buckets
	PrintKey      = printKey
)

func IDKey(id loops.LoopID) []byte                      { return idKey(id) }
func HistoryKey(l loops.LoopID, e loops.EntryID) []byte { return pairKey(l, e) }
func DecodeHistoryKey(key []byte) (loops.LoopID, loops.EntryID, error) {
	return decodePairKey[loops.LoopID, loops.EntryID](key)
}

// OpenWith opens a store with invented migrations behind schema 1.
func OpenWith(path string, steps ...func(engine.Writer) error) (*Store, error) {
	var list []migration
	for _, step := range steps {
		list = append(list, migration{"invented", step})
	}
	return openWith(path, Options{}, list)
}

// BareUpdate runs fn in a bbolt transaction of the store's file with nothing of
// ours around it, and SetNoSync leaves the syncs out where the store is a file,
// for the benchmarks.
func BareUpdate(s *Store, fn func(*bbolt.Tx) error) error { return s.kept.(*bolt.File).DB().Update(fn) }
func SetNoSync(s *Store, noSync bool) bool {
	f, ok := s.kept.(*bolt.File)
	if ok {
		f.DB().NoSync = noSync
	}
	return ok
}

// CompactClosed is Compact as it is where an open file cannot be renamed.
func CompactClosed(s *Store, ctx context.Context) (before, after int64, err error) {
	return s.kept.(*bolt.File).CompactClosed(sound(ctx))
}

// The values that a commit puts.
var (
	EncodeLoop  = encodeLoop
	EncodeEntry = encodeEntry
	EncodeAudit = encodeAudit
)

// DecodeBody reads a stored text; the decoder of all records reads one with less
// haste.
func DecodeBody(stored []byte) (loops.MessageKey, []byte, error) { return body(decodeBody(stored)) }
func DecodeBodySlowly(stored []byte) (loops.MessageKey, []byte, error) {
	return body(decode[bodyV1](recordV1, stored))
}
func body(b bodyV1, err error) (loops.MessageKey, []byte, error) { return b.Key, b.Raw, err }

func EncodeBody(key loops.MessageKey, raw []byte) ([]byte, error) {
	return encodeBody(bodyV1{key, raw})
}
