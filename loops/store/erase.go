// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
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
// It is one transaction with one line of the audit. The old pages of the file are
// gone once it is compacted, and backups that were made before hold everything
// still. What of the owner's and the machines' records goes, with says.
func (s *Store) EraseOwner(id loops.OwnerID, by string, at time.Time, with loops.Erasing) error {
	return s.write("store: erase", func(tx engine.Writer) error {
		if err := eraseOwner(tx, id, loops.DayOf(at, time.UTC), with); err != nil {
			return err
		}
		return audit(tx, loops.AuditLine{At: at, By: by, Action: "erase owner", On: fmt.Sprintf("owner %d", id)})
	})
}

// eraseOwner rewrites the owner, their machines, the loops in these and those
// that went to somebody else.
func eraseOwner(tx engine.Writer, id loops.OwnerID, day loops.Day, with loops.Erasing) error {
	o, err := ownerTable().get(tx, idKey(id))
	if err != nil {
		return err
	}
	if err := eraseMail(tx, o); err != nil {
		return err
	}
	if err := ownerTable().rewrite(tx, with.Owner(o, day)); err != nil {
		return err
	}
	inside, err := loopsLeftBy(tx, id)
	if err != nil {
		return err
	}
	for _, key := range keysUnder(tx, bucketMachinesByOwner, idKey(id)) {
		m, err := machineTable().get(tx, key[idWidth:])
		if err != nil {
			return err
		}
		if err := machineTable().rewrite(tx, with.Machine(m)); err != nil {
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

// eraseMail rewrites every message to the owner and deletes its text, and the
// texts of all morning lists, which name whoever was due. It takes off the list of
// addresses that get no mail those that the owner has and those that mail went to;
// not one that is another owner's too.
func eraseMail(tx engine.Writer, of loops.Owner) error {
	theirs := map[string]bool{strings.ToLower(of.Email): true}
	for _, key := range keysUnder(tx, bucketMessages, nil) {
		m, err := messageTable().get(tx, key)
		switch {
		case err != nil:
			return err
		case m.Owner == of.ID:
			theirs[strings.ToLower(m.To)] = true
			err = messageTable().replace(tx, &m, m.Erased())
		case m.Purpose == loops.PurposeMorning:
			err = eraseMorningList(tx, m)
		default:
			continue
		}
		if err := errors.Join(err, tx.Delete(bucketBodies, key)); err != nil {
			return err
		}
	}
	delete(theirs, "")
	for _, key := range keysUnder(tx, bucketOwners, nil) {
		o, err := ownerTable().get(tx, key)
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

// eraseMorningList empties what is said of a list that went out. One that waits
// goes as a whole, so that it is written again.
func eraseMorningList(tx engine.Writer, m loops.Message) error {
	if m.Status == loops.Queued || m.Status == loops.Held {
		return messageTable().remove(tx, m)
	}
	told := m
	told.Subject, told.LastError = "", m.Erased().LastError
	return messageTable().replace(tx, &m, told)
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
	l, err := loopTable().get(tx, idKey(id))
	if err != nil {
		return err
	}
	m, err := machineTable().get(tx, idKey(l.Machine))
	if err != nil {
		return err
	}
	history, err := eraseHistory(tx, l.ID, owner, m.Owner)
	if err != nil {
		return err
	}
	l.State = loops.Fold(history)
	if m.Owner == owner {
		l.Plan = loops.Plan{}
	} else {
		l.Plan = l.Plan.Erased()
	}
	return loopTable().rewrite(tx, l)
}

// eraseHistory rewrites the entries of the owner's time, given who has the
// machine now, and returns the history as it is then.
func eraseHistory(tx engine.Writer, loop loops.LoopID, owner, now loops.OwnerID) ([]loops.Entry, error) {
	history, err := entryTable().in(tx, engine.Prefix(idKey(loop)))
	if err != nil {
		return nil, err
	}
	for i, held := range loops.HeldBy(owner, now, history) {
		if !held {
			continue
		}
		was := history[i]
		history[i] = was.Erased()
		if err := entryTable().replace(tx, &was, history[i]); err != nil {
			return nil, err
		}
	}
	return history, nil
}

// eraseSamples takes the notes off the samples that were kept of a loop.
func eraseSamples(tx engine.Writer, of loops.LoopID) error {
	for _, key := range keysUnder(tx, bucketSamples, nil) {
		s, err := sampleTable().get(tx, key)
		if err != nil {
			return err
		}
		if s.Loop != of || s.Note == "" {
			continue
		}
		if err := sampleTable().rewrite(tx, s.Erased()); err != nil {
			return err
		}
	}
	return nil
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
