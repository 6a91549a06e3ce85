// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// actKeyEnd ends the key of an act in its index: no key holds it, since no
// text on record holds a control character.
const actKeyEnd = "\x00"

// actKey is the line of the index for an entry that came with a key.
func actKey(e loops.Entry) []byte {
	return append([]byte(e.Key+actKeyEnd), pairKey(e.Loop, e.ID)...)
}

// freeActKey refuses the key of an act that is on record. A key stands for one entry.
func freeActKey(tx engine.Reader, e loops.Entry) error {
	if e.Key == "" {
		return nil
	}
	if at, _ := engine.First(tx.Ascend(bucketActKeys, engine.Prefix([]byte(e.Key+actKeyEnd)))); at != nil {
		return fmt.Errorf("act key %q: %w", e.Key, loops.ErrRepeated)
	}
	return nil
}

// EntryByKey finds the entry of an act that was sent with the key, or
// loops.ErrNotFound.
func (s *Store) EntryByKey(key string) (loops.Entry, error) {
	return read(s, fmt.Sprintf("store: act key %q", key), func(tx engine.Reader) (entry loops.Entry, err error) {
		for at := range tx.Ascend(bucketActKeys, engine.Prefix([]byte(key+actKeyEnd))) {
			e, err := entryOfActKey(tx, at)
			if err != nil {
				return entry, err
			}
			if !e.Recorded.Before(entry.Recorded) { // an import may know a key that was forgotten and came again
				entry = e
			}
		}
		if entry.ID == 0 {
			err = loops.ErrNotFound
		}
		return entry, err
	})
}

// entryOfActKey is the entry that a line of the index stands for.
func entryOfActKey(tx engine.Reader, line []byte) (loops.Entry, error) {
	_, at, ok := bytes.Cut(line, []byte(actKeyEnd))
	if stored := tx.Get(bucketHistory, at); ok && stored != nil {
		return decodeEntry(stored)
	}
	return loops.Entry{}, fmt.Errorf("%w: its line of the index has no entry", loops.ErrDamaged)
}

// ForgetActKeys takes the keys of acts recorded before the instant out of the
// index, and returns how many. The entries keep theirs. The index remembers the
// instant, to the second, as its counter, so that a check knows which keys it
// should hold.
func (s *Store) ForgetActKeys(before time.Time) (int, error) {
	forgotten := 0
	err := s.write("store: act keys", func(tx engine.Writer) error {
		horizon := uint64(max(before.Unix(), 0))
		if forgotten = 0; horizon <= tx.Sequence(bucketActKeys) {
			return nil
		}
		var old [][]byte
		for line := range tx.Ascend(bucketActKeys, engine.Span{}) {
			e, err := entryOfActKey(tx, line)
			if err != nil {
				return err
			}
			if !actKeyKept(e, horizon) {
				old = append(old, bytes.Clone(line))
			}
		}
		for _, line := range old {
			if err := tx.Delete(bucketActKeys, line); err != nil {
				return err
			}
		}
		forgotten = len(old)
		return tx.SetSequence(bucketActKeys, horizon)
	})
	if err != nil {
		return 0, err
	}
	return forgotten, nil
}

// actKeyKept tells that an entry's key stands in the index.
func actKeyKept(e loops.Entry, horizon uint64) bool {
	return e.Key != "" && uint64(max(e.Recorded.Unix(), 0)) >= horizon
}
