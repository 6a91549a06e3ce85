// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"cmp"
	"context"
	"io"

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
		list = append(list, migration{what: "invented", apply: step})
	}
	return openWith(path, Options{}, list)
}

// nextSchema is a schema 2 that was invented: a check of an instrument that names no
// unit has one.
func nextSchema() []migration {
	return []migration{{what: "units", values: map[string]func([]byte) ([]byte, error){
		bucketInstruments: upgrade(recordV1, recordV1, func(i loops.Instrument) loops.Instrument {
			for n := range i.Checks {
				i.Checks[n].Unit = cmp.Or(i.Checks[n].Unit, "brix")
			}
			return i
		}),
	}}}
}

// OpenNext and ImportNext are Open and Import of a program of that schema.
func OpenNext(path string) (*Store, error) { return openWith(path, Options{}, nextSchema()) }
func ImportNext(ctx context.Context, path string, r io.Reader) error {
	return importWith(ctx, path, r, nextSchema())
}

// Shapes has the stored form of each kind of record.
func Shapes() []any {
	return []any{
		schemaV1{}, loops.Uptime{}, idV1{}, leadV1{}, sameV1{}, loops.AlarmBook{}, loops.Canary{}, loops.Backups{}, loops.MailPlace{}, mailReadV1{},
		loops.Owner{}, loops.Machine{}, loops.Loop{}, loops.Entry{}, messageV1{}, bodyV1{}, loops.Sent{}, loops.AuditLine{}, loops.Suppression{},
		loops.Container{}, loops.UsedFluid{}, loops.Instrument{}, loops.RetainedSample{}, loops.Evidence{}, loops.PatternWatch{},
		technicianV1{}, technicianLineV1{}, loops.SignIn{}, loops.PasswordToken{}, startV1{}, endV1{},
	}
}

// Records has a record of each table.
func Records() []any {
	var all []any
	for _, t := range tables() {
		all = append(all, t.(interface{ record() any }).record())
	}
	return all
}

func (t table[T]) record() any { return *new(T) }

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
	EncodeLoop  = encodeV1[loops.Loop]
	EncodeEntry = encodeEntry
	EncodeAudit = encodeAudit
)

// DecodeBody reads a stored text; the decoder of all records reads one with less
// haste.
func DecodeBody(stored []byte) (loops.MessageKey, []byte, error) { return body(decodeBody(stored)) }
func DecodeBodySlowly(stored []byte) (loops.MessageKey, []byte, error) {
	return body(decodeV1[bodyV1](stored))
}
func body(b bodyV1, err error) (loops.MessageKey, []byte, error) { return b.Key, b.Raw, err }

func EncodeBody(key loops.MessageKey, raw []byte) ([]byte, error) {
	return encodeV1(bodyV1{key, raw})
}
