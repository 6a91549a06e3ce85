// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// EraseOwner takes out of the store who the owner was: name, addresses and
// telephone, what their machines are called, their words and the notes of the
// time in which they had a machine, also where it went to somebody else since,
// the notes on samples of these loops, their mail, the texts of morning lists,
// and their name wherever else it stands in what people wrote. Measurements
// stay, the plans of the loops they have now are emptied, and mail that had not
// gone out is dropped; a morning list that had not is written again.
// It is one transaction with one line of the audit; the file is then compacted,
// so that the old pages are gone as well. Backups that were made before hold
// everything still. What of the owner's and the machines' records goes, with
// says.
func (s *Store) EraseOwner(ctx context.Context, id loops.OwnerID, by string, at time.Time, with loops.Erasing) error {
	line, err := encodeAudit(loops.AuditLine{At: at, By: by, Action: "erase owner", On: fmt.Sprintf("owner %d", id)})
	if err != nil {
		return fmt.Errorf("store: erase: %w", err)
	}
	err = s.update(func(tx engine.Writer) error {
		if err := eraseOwner(tx, id, loops.DayOf(at, time.UTC), with); err != nil {
			return err
		}
		if err := eraseMessages(tx, id); err != nil {
			return err
		}
		if err := eraseMorningLists(tx); err != nil {
			return err
		}
		return appendAudit(tx, line)
	})
	if err != nil {
		return fmt.Errorf("store: erase: %w", err)
	}
	if _, err := s.file(); err != nil {
		return nil // a database frees its own pages
	}
	_, _, err = s.Compact(ctx)
	return err
}

// eraseOwner rewrites the owner, their machines, the loops in these and those
// that went to somebody else.
func eraseOwner(tx engine.Writer, id loops.OwnerID, day loops.Day, with loops.Erasing) error {
	o, err := ownerKind().get(tx, uint64(id))
	if err != nil {
		return err
	}
	if err := eraseAddresses(tx, o); err != nil {
		return err
	}
	if err := ownerKind().rewrite(tx, with.Owner(o, day)); err != nil {
		return err
	}
	inside, err := loopsLeftBy(tx, id)
	if err != nil {
		return err
	}
	for _, key := range keysUnder(tx, bucketMachinesByOwner, idKey(id)) {
		m, err := machineKind().get(tx, lastID(key))
		if err != nil {
			return err
		}
		if err := machineKind().rewrite(tx, with.Machine(m)); err != nil {
			return err
		}
		for _, key := range keysUnder(tx, bucketLoopsByMachine, idKey(m.ID)) {
			inside[lastID(key)] = true
		}
	}
	for _, loop := range slices.Sorted(maps.Keys(inside)) {
		if err := eraseLoop(tx, loop, id); err != nil {
			return err
		}
		if err := eraseSamples(tx, loops.LoopID(loop)); err != nil {
			return err
		}
	}
	return eraseNaming(tx, inside, with)
}

// eraseAddresses takes off the list of addresses that get no mail those that the
// owner has and those that mail went to before; not one that is another owner's
// too.
func eraseAddresses(tx engine.Writer, of loops.Owner) error {
	theirs := map[string]bool{strings.ToLower(of.Email): true}
	for _, key := range keysUnder(tx, bucketMessages, nil) {
		m, err := decodeMessage(tx.Get(bucketMessages, key))
		if err != nil {
			return fmt.Errorf("bucket messages: %s: %w", key, err)
		}
		if m.Owner == of.ID {
			theirs[strings.ToLower(m.To)] = true
		}
	}
	delete(theirs, "")
	for _, key := range keysUnder(tx, bucketOwners, nil) {
		o, err := ownerKind().get(tx, lastID(key))
		if err != nil {
			return err
		}
		if o.ID != of.ID {
			delete(theirs, strings.ToLower(o.Email))
		}
	}
	for address := range theirs {
		if err := tx.Delete(bucketSuppressed, []byte(address)); err != nil {
			return err
		}
	}
	return nil
}

// loopsLeftBy finds the loops in machines that went from the owner to somebody
// else, by the transfers in their histories.
func loopsLeftBy(tx engine.Reader, id loops.OwnerID) (map[uint64]bool, error) {
	left := map[uint64]bool{}
	for k, v := range tx.Ascend(bucketHistory, engine.Span{}) {
		if !bytes.Contains(v, []byte(`"transfer"`)) {
			continue // no transfer, which decoding would find out more slowly
		}
		e, err := decodeEntry(v)
		if err != nil {
			return nil, fmt.Errorf("bucket history: %s: %w", printKey(bucketHistory, k), err)
		}
		if e.Kind == loops.KindTransfer && e.Transfer.From == id {
			left[uint64(e.Loop)] = true
		}
	}
	return left, nil
}

// eraseLoop rewrites what is in a loop's history of the owner's time and folds
// its state again. Where the owner has the loop still its plan is emptied, whose
// clauses may repeat what a note said; else it loses those words.
func eraseLoop(tx engine.Writer, id uint64, owner loops.OwnerID) error {
	l, err := loopKind().get(tx, id)
	if err != nil {
		return err
	}
	m, err := machineKind().get(tx, uint64(l.Machine))
	if err != nil {
		return err
	}
	history, err := eraseHistory(tx, l.ID, owner, m.Owner)
	if err != nil {
		return err
	}
	if l.State = loops.Fold(history); m.Owner != owner {
		l.Plan = l.Plan.Erased()
		return loopKind().rewrite(tx, l)
	}
	for _, d := range l.Dues() {
		key, err := dueKey(d)
		if err != nil {
			return err
		}
		if err := tx.Delete(bucketDue, key); err != nil {
			return err
		}
	}
	l.Plan = loops.Plan{}
	return loopKind().rewrite(tx, l)
}

// eraseHistory rewrites the entries of the owner's time, given who has the
// machine now, and returns the history as it is then.
func eraseHistory(tx engine.Writer, loop loops.LoopID, owner, now loops.OwnerID) ([]loops.Entry, error) {
	keys, history, err := keyedHistory(tx, loop)
	if err != nil {
		return nil, err
	}
	for i, held := range loops.HeldBy(owner, now, history) {
		if !held {
			continue
		}
		history[i] = history[i].Erased()
		v, err := encodeEntry(history[i])
		if err != nil {
			return nil, err
		}
		if err := tx.Put(bucketHistory, keys[i], v); err != nil {
			return nil, err
		}
	}
	return history, nil
}

// keyedHistory reads the history of a loop with the keys of its entries.
func keyedHistory(tx engine.Reader, loop loops.LoopID) ([][]byte, []loops.Entry, error) {
	keys := keysUnder(tx, bucketHistory, idKey(loop))
	history := make([]loops.Entry, len(keys))
	for i, key := range keys {
		e, err := decodeEntry(tx.Get(bucketHistory, key))
		if err != nil {
			return nil, nil, fmt.Errorf("bucket history: %s: %w", printKey(bucketHistory, key), err)
		}
		history[i] = e
	}
	return keys, history, nil
}

// eraseSamples takes the notes off the samples that were kept of a loop.
func eraseSamples(tx engine.Writer, of loops.LoopID) error {
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
func eraseMessages(tx engine.Writer, id loops.OwnerID) error {
	for _, key := range keysUnder(tx, bucketMessages, nil) {
		m, err := decodeMessage(tx.Get(bucketMessages, key))
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
		if err := tx.Put(bucketMessages, key, v); err != nil {
			return err
		}
		if err := tx.Delete(bucketBodies, key); err != nil {
			return err
		}
	}
	return nil
}

// eraseMorningLists deletes the texts of all morning lists, which name whoever
// was due. One that waits goes as a whole, so that it is written again.
func eraseMorningLists(tx engine.Writer) error {
	for _, key := range keysUnder(tx, bucketMessages, nil) {
		m, err := decodeMessage(tx.Get(bucketMessages, key))
		if err != nil {
			return fmt.Errorf("bucket messages: %s: %w", key, err)
		}
		if m.Purpose != loops.PurposeMorning {
			continue
		}
		if err := tx.Delete(bucketBodies, key); err != nil {
			return err
		}
		if m.Status != loops.Queued && m.Status != loops.Held {
			m.Subject, m.LastError = "", ""
			v, err := encodeMessage(m)
			if err == nil {
				err = tx.Put(bucketMessages, key, v)
			}
			if err != nil {
				return err
			}
			continue
		}
		recent, err := instantKey(m.Created, m.Key)
		if err == nil {
			err = deleteOutbox(tx, m)
		}
		if err != nil {
			return err
		}
		if err := errors.Join(tx.Delete(bucketRecent, recent), tx.Delete(bucketMessages, key)); err != nil {
			return err
		}
	}
	return nil
}

// rewrite puts a record that was read in the same transaction, with its
// revision raised.
func (k kind[T]) rewrite(tx engine.Writer, r T) error {
	list, err := k.prepare([]T{r})
	if err != nil {
		return err
	}
	return k.put(tx, list, nil)
}

// keysUnder collects the keys of a bucket with the prefix: a range that is
// written to meanwhile may leave some out.
func keysUnder(tx engine.Reader, name string, prefix []byte) [][]byte {
	var keys [][]byte
	for k := range tx.Ascend(name, engine.Prefix(prefix)) {
		keys = append(keys, bytes.Clone(k))
	}
	return keys
}
