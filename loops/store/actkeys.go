// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"fmt"

	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
)

// actKeyEnd ends the key of an act in its index: no key holds it, since no
// text on record holds a control character.
const actKeyEnd = "\x00"

// actKey is the line of the index for an entry that came with a key.
func actKey(e loops.Entry) []byte {
	return append([]byte(e.Key+actKeyEnd), pairKey(e.Loop, e.ID)...)
}

// putActKey notes the key of an act. A key stands for one entry.
func putActKey(tx *bolt.Tx, e loops.Entry) error {
	if e.Key == "" {
		return nil
	}
	b := bucket(tx, bucketActKeys)
	prefix := []byte(e.Key + actKeyEnd)
	if at, _ := b.Cursor().Seek(prefix); bytes.HasPrefix(at, prefix) {
		return fmt.Errorf("act key %q: %w", e.Key, loops.ErrRepeated)
	}
	return b.Put(actKey(e), nil)
}

// EntryByKey finds the entry of an act that was sent with the key, or
// loops.ErrNotFound.
func (s *Store) EntryByKey(key string) (loops.Entry, error) {
	var entry loops.Entry
	err := s.view(func(tx *bolt.Tx) error {
		prefix := []byte(key + actKeyEnd)
		at, _ := bucket(tx, bucketActKeys).Cursor().Seek(prefix)
		if !bytes.HasPrefix(at, prefix) {
			return loops.ErrNotFound
		}
		stored := bucket(tx, bucketHistory).Get(at[len(prefix):])
		if stored == nil {
			return loops.ErrNotFound
		}
		var err error
		entry, err = decodeEntry(stored)
		return err
	})
	if err != nil {
		return entry, fmt.Errorf("store: act key %q: %w", key, err)
	}
	return entry, nil
}
