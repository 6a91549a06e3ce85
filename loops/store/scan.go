// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"fmt"
	"iter"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Owners yields every owner by id.
func (s *Store) Owners() iter.Seq2[loops.Owner, error] {
	return ownerTable().all(s)
}

// Machines yields every machine by id.
func (s *Store) Machines() iter.Seq2[loops.Machine, error] {
	return machineTable().all(s)
}

// Loops yields every loop by id.
func (s *Store) Loops() iter.Seq2[loops.Loop, error] {
	return loopTable().all(s)
}

// Audit yields every line of the audit, the newest first.
func (s *Store) Audit() iter.Seq2[loops.AuditLine, error] {
	return auditTable().newest(s)
}

// A scan reads firstBatch records in its first transaction and four times as
// many in each after it, up to lastBatch: a page that shows fifty decodes
// little more, and a walk over all opens few transactions.
const (
	firstBatch = 64
	lastBatch  = 256
)

// scan yields every record of a bucket in key order, or against it. It reads
// batches, each in a transaction of its own that ends before the records are
// handed out, so that the caller may write to the store meanwhile and no slow
// caller keeps old pages alive. What is written meanwhile may or may not be
// seen. After an error the scan ends. Where ahead is not nil it reads what decode
// will ask for about the keys of a batch.
func scan[T any](s *Store, name string, backwards bool, ahead func(engine.Reader, [][]byte), decode func(tx engine.Reader, k, v []byte) (T, error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		var last []byte
		for batch := firstBatch; ; batch = min(4*batch, lastBatch) {
			var records []T
			var err error
			records, last, err = scanBatch(s, name, last, batch, backwards, ahead, decode)
			for _, r := range records {
				if !yield(r, nil) {
					return
				}
			}
			if err != nil {
				var none T
				yield(none, fmt.Errorf("store: %w", err))
				return
			}
			if len(records) < batch {
				return
			}
		}
	}
}

// scanMessages scans an index of messages.
func scanMessages(s *Store, index string, backwards bool) iter.Seq2[loops.Message, error] {
	keyOf := func(k []byte) (loops.MessageKey, error) {
		_, key, err := decodeInstantKey(k)
		return key, err
	}
	ahead := func(tx engine.Reader, lines [][]byte) {
		var keys [][]byte
		for _, line := range lines {
			if key, err := keyOf(line); err == nil { // else it is told below
				keys = append(keys, []byte(key))
			}
		}
		tx.GetMany(bucketMessages, keys)
	}
	return scan(s, index, backwards, ahead, func(tx engine.Reader, k, _ []byte) (loops.Message, error) {
		key, err := keyOf(k)
		if err != nil {
			return loops.Message{}, err
		}
		return messageTable().get(tx, []byte(key))
	})
}

// scanBatch reads the records that follow the key, from the start where it is
// nil, and returns the key of the last one.
func scanBatch[T any](s *Store, name string, after []byte, batch int, backwards bool, ahead func(engine.Reader, [][]byte), decode func(tx engine.Reader, k, v []byte) (T, error)) (records []T, last []byte, err error) {
	last = after
	err = s.view(func(tx engine.Reader) error {
		all := tx.Ascend(name, engine.After(after))
		if backwards {
			all = tx.Descend(name, engine.Span{To: after})
		}
		records, last = nil, after
		var keys, values [][]byte
		for k, v := range all {
			if keys, values = append(keys, k), append(values, v); len(keys) == batch {
				break
			}
		}
		if ahead != nil {
			ahead(tx, keys)
		}
		for i, k := range keys {
			r, err := decode(tx, k, values[i])
			if err != nil {
				return fmt.Errorf("bucket %s: %s: %w", name, printKey(name, k), err)
			}
			records, last = append(records, r), bytes.Clone(k)
		}
		return nil
	})
	return records, last, err
}
