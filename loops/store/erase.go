// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
)

// EraseOwner takes out of the store who the owner was: name, addresses and
// telephone, what their machines were called, their words, the notes in the
// histories of the loops they have now and on samples of these, and their mail. Measurements stay, the
// plans of their loops are emptied, and mail that had not gone out is dropped.
// It is one transaction with one line of the audit; the file is then compacted,
// so that the old pages are gone as well. Backups that were made before hold
// everything still.
func (s *Store) EraseOwner(ctx context.Context, id loops.OwnerID, by string, at time.Time) error {
	line, err := encodeAudit(loops.AuditLine{At: at, By: by, Action: "erase owner", On: fmt.Sprintf("owner %d", id)})
	if err != nil {
		return fmt.Errorf("store: erase: %w", err)
	}
	err = s.update(func(tx *bolt.Tx) error {
		if err := eraseOwner(tx, id, loops.DayOf(at, time.UTC)); err != nil {
			return err
		}
		if err := eraseMessages(tx, id); err != nil {
			return err
		}
		return appendAudit(tx, line)
	})
	if err != nil {
		return fmt.Errorf("store: erase: %w", err)
	}
	_, _, err = s.Compact(ctx)
	return err
}

// eraseOwner rewrites the owner, their machines, and the loops in these.
func eraseOwner(tx *bolt.Tx, id loops.OwnerID, day loops.Day) error {
	o, err := ownerKind().get(tx, uint64(id))
	if err != nil {
		return err
	}
	if o.Email != "" {
		if err := bucket(tx, bucketSuppressed).Delete([]byte(strings.ToLower(o.Email))); err != nil {
			return err
		}
	}
	if err := ownerKind().rewrite(tx, o.Erased(day)); err != nil {
		return err
	}
	for _, key := range keysUnder(tx, bucketMachinesByOwner, idKey(id)) {
		m, err := machineKind().get(tx, lastID(key))
		if err != nil {
			return err
		}
		if err := machineKind().rewrite(tx, m.Erased()); err != nil {
			return err
		}
		for _, key := range keysUnder(tx, bucketLoopsByMachine, idKey(m.ID)) {
			if err := eraseLoop(tx, lastID(key)); err != nil {
				return err
			}
			if err := eraseSamples(tx, loops.LoopID(lastID(key))); err != nil {
				return err
			}
		}
	}
	return nil
}

// eraseLoop rewrites a loop's history, folds its state anew and empties its
// plan, whose clauses may repeat what a note said.
func eraseLoop(tx *bolt.Tx, id uint64) error {
	l, err := loopKind().get(tx, id)
	if err != nil {
		return err
	}
	var history []loops.Entry
	b := bucket(tx, bucketHistory)
	for _, key := range keysUnder(tx, bucketHistory, idKey(id)) {
		e, err := decodeEntry(b.Get(key))
		if err != nil {
			return fmt.Errorf("bucket history: %s: %w", printKey(bucketHistory, key), err)
		}
		history = append(history, e.Erased())
		v, err := encodeEntry(e.Erased())
		if err != nil {
			return err
		}
		if err := b.Put(key, v); err != nil {
			return err
		}
	}
	for _, d := range l.Dues() {
		key, err := dueKey(d)
		if err != nil {
			return err
		}
		if err := bucket(tx, bucketDue).Delete(key); err != nil {
			return err
		}
	}
	l.State, l.Plan = loops.Fold(history), loops.Plan{}
	return loopKind().rewrite(tx, l)
}

// eraseSamples takes the notes off the samples that were kept of a loop.
func eraseSamples(tx *bolt.Tx, of loops.LoopID) error {
	for _, key := range keysUnder(tx, bucketSamples, nil) {
		s, err := sampleKind().get(tx, lastID(key))
		if err != nil {
			return err
		}
		if s.Loop != of || s.Note == "" {
			continue
		}
		if err := sampleKind().rewrite(tx, s.Erased()); err != nil {
			return err
		}
	}
	return nil
}

// eraseMessages rewrites every message to the owner and deletes its text.
func eraseMessages(tx *bolt.Tx, id loops.OwnerID) error {
	b := bucket(tx, bucketMessages)
	for _, key := range keysUnder(tx, bucketMessages, nil) {
		m, err := decodeMessage(b.Get(key))
		if err != nil {
			return fmt.Errorf("bucket messages: %s: %w", key, err)
		}
		if m.Owner != id {
			continue
		}
		if m.Status == loops.Queued {
			if err := deleteOutbox(tx, m); err != nil {
				return err
			}
		}
		v, err := encodeMessage(m.Erased())
		if err != nil {
			return err
		}
		if err := b.Put(key, v); err != nil {
			return err
		}
		if err := bucket(tx, bucketBodies).Delete(key); err != nil {
			return err
		}
	}
	return nil
}

// rewrite puts a record that was read in the same transaction, with its
// revision raised.
func (k kind[T]) rewrite(tx *bolt.Tx, r T) error {
	list, err := k.prepare([]T{r})
	if err != nil {
		return err
	}
	return k.put(tx, list, nil)
}

// keysUnder collects the keys of a bucket with the prefix: writing while a
// cursor moves may skip some.
func keysUnder(tx *bolt.Tx, name string, prefix []byte) [][]byte {
	var keys [][]byte
	c := bucket(tx, name).Cursor()
	for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
		keys = append(keys, bytes.Clone(k))
	}
	return keys
}
