// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// NewOwnerID hands out an owner's id for a [loops.Change]. An id that is never
// used leaves a gap, which harms nothing.
func (s *Store) NewOwnerID() (loops.OwnerID, error) { return newID[loops.OwnerID](s, bucketOwners) }

// NewMachineID hands out a machine's id for a [loops.Change].
func (s *Store) NewMachineID() (loops.MachineID, error) {
	return newID[loops.MachineID](s, bucketMachines)
}

// NewLoopID hands out a loop's id for a [loops.Change].
func (s *Store) NewLoopID() (loops.LoopID, error) { return newID[loops.LoopID](s, bucketLoops) }

func newID[N number](s *Store, name string) (N, error) { return newIDs[N](s, name, 1) }

// newIDs hands out so many ids in a row and returns the first.
func newIDs[N number](s *Store, name string, count int) (N, error) {
	var first uint64
	err := s.update(func(tx engine.Writer) (err error) {
		last := tx.Sequence(name)
		first = last + 1
		return tx.SetSequence(name, last+uint64(max(0, count)))
	})
	if err != nil {
		return 0, fmt.Errorf("store: new id in %s: %w", name, err)
	}
	return N(first), nil
}

// NewOwnerIDs hands out so many ids in a row in one transaction, and returns
// the first.
func (s *Store) NewOwnerIDs(count int) (loops.OwnerID, error) {
	return newIDs[loops.OwnerID](s, bucketOwners, count)
}

// NewMachineIDs is [Store.NewOwnerIDs] for machines.
func (s *Store) NewMachineIDs(count int) (loops.MachineID, error) {
	return newIDs[loops.MachineID](s, bucketMachines, count)
}

// NewLoopIDs is [Store.NewOwnerIDs] for loops.
func (s *Store) NewLoopIDs(count int) (loops.LoopID, error) {
	return newIDs[loops.LoopID](s, bucketLoops, count)
}

// NewContainerIDs is [Store.NewOwnerIDs] for containers.
func (s *Store) NewContainerIDs(count int) (loops.ContainerID, error) {
	return newIDs[loops.ContainerID](s, bucketContainers, count)
}

// Commit writes all of the change in one transaction that is on the disk when
// Commit returns nil; on any error nothing is written.
//
// A record's Revision is the one that was read, zero for a new record; it is
// raised by one. A record that has changed since, is gone, or is there
// although it should be new, gives loops.ErrConflict. The entries of a loop
// must continue its history without a gap up to the loop's LastEntry, and the
// loop must be part of the change. The due index follows the plans of the loops
// in the change. A message or used-fluid line that is on record gives
// loops.ErrRepeated, a tag of another loop loops.ErrTagTaken, a missing owner or
// machine loops.ErrNotFound. A mail that was dealt with gives loops.ErrRepeated.
// A change without any record writes nothing.
func (s *Store) Commit(c loops.Change) error {
	e, err := encodeChange(c)
	if err != nil {
		return fmt.Errorf("store: %w", err)
	}
	if e.empty() {
		return nil
	}
	if err := s.update(e.write); err != nil {
		return fmt.Errorf("store: %w", err)
	}
	return nil
}

// write puts the change in the order in which records need each other.
func (e *encodedChange) write(tx engine.Writer) error {
	for _, step := range []func(engine.Writer) error{
		e.writeOwners, e.writeMachines, e.writeLoops, e.writeShelf, e.writeMessages, e.writeMail,
	} {
		if err := step(tx); err != nil {
			return err
		}
	}
	return appendAudit(tx, e.audit)
}

// Note writes a line of the audit about something that changes no record.
func (s *Store) Note(line loops.AuditLine) error {
	v, err := encodeAudit(line)
	if err == nil {
		err = s.update(func(tx engine.Writer) error { return appendAudit(tx, v) })
	}
	if err != nil {
		return fmt.Errorf("store: %s: %w", line.Action, err)
	}
	return nil
}

// appendAudit puts a line behind all others, whatever the clock says.
func appendAudit(tx engine.Writer, line []byte) error {
	n, err := engine.NextSequence(tx, bucketAudit)
	if err != nil {
		return err
	}
	return tx.Put(bucketAudit, idKey(n), line)
}

// moveIndex replaces one line of an index by another.
func moveIndex(tx engine.Writer, name string, had bool, from, to []byte) error {
	if had && bytes.Equal(from, to) {
		return nil
	}
	if had {
		if err := tx.Delete(name, from); err != nil {
			return err
		}
	}
	return tx.Put(name, to, nil)
}

func (e *encodedChange) writeOwners(tx engine.Writer) error {
	return ownerKind().put(tx, e.owners, nil)
}

func (e *encodedChange) writeMachines(tx engine.Writer) error {
	return machineKind().put(tx, e.machines, func(old loops.Machine, exists bool, m loops.Machine) error {
		if m.Owner != 0 {
			if err := ownerKind().exists(tx, uint64(m.Owner)); err != nil {
				return err
			}
		}
		return moveIndex(tx, bucketMachinesByOwner, exists, pairKey(old.Owner, old.ID), pairKey(m.Owner, m.ID))
	})
}

// writeLoops puts the loops with their tags, entries and due lines.
func (e *encodedChange) writeLoops(tx engine.Writer) error {
	next := map[loops.LoopID]loops.EntryID{}
	err := loopKind().put(tx, e.loops, func(old loops.Loop, exists bool, l loops.Loop) error {
		if err := machineKind().exists(tx, uint64(l.Machine)); err != nil {
			return err
		}
		if err := moveIndex(tx, bucketLoopsByMachine, exists,
			pairKey(old.Machine, old.ID), pairKey(l.Machine, l.ID)); err != nil {
			return err
		}
		next[l.ID] = old.LastEntry + 1
		if err := moveDues(tx, old, l); err != nil {
			return err
		}
		return moveTag(tx, old, l, exists)
	})
	if err != nil {
		return err
	}
	return e.writeEntries(tx, next)
}

// moveDues turns the lines of the due index of the loop as it was into those of
// the loop as it is, and leaves alone what is in both.
func moveDues(tx engine.Writer, was, is loops.Loop) error {
	before, after := was.Dues(), is.Dues()
	move := func(from, unless []loops.Due, do func(key []byte) error) error {
		for _, d := range from {
			if slices.Contains(unless, d) {
				continue
			}
			key, err := dueKey(d)
			if err != nil {
				return fmt.Errorf("due line: %w", err)
			}
			if err := do(key); err != nil {
				return err
			}
		}
		return nil
	}
	if err := move(before, after, func(key []byte) error { return tx.Delete(bucketDue, key) }); err != nil {
		return err
	}
	return move(after, before, func(key []byte) error { return tx.Put(bucketDue, key, nil) })
}

// moveTag gives the loop its tag unless another loop has it.
func moveTag(tx engine.Writer, old, l loops.Loop, exists bool) error {
	if key, _ := engine.First(tx.Ascend(bucketTags, engine.Prefix([]byte(l.Tag)))); key != nil {
		tag, holder, err := decodeTagKey(key)
		if err != nil {
			return fmt.Errorf("tags: %w", err)
		}
		if tag == l.Tag && holder != l.ID {
			return fmt.Errorf("%s: %w", l.Tag, loops.ErrTagTaken)
		}
	}
	to, err := tagKey(l.Tag, l.ID)
	if err != nil {
		return err
	}
	var from []byte
	if exists {
		if from, err = tagKey(old.Tag, old.ID); err != nil {
			return err
		}
	}
	return moveIndex(tx, bucketTags, exists, from, to)
}

// writeEntries appends to the histories; next holds the number that each
// loop's next entry must have.
func (e *encodedChange) writeEntries(tx engine.Writer, next map[loops.LoopID]loops.EntryID) error {
	for _, entry := range e.entries {
		expected, ok := next[entry.record.Loop]
		if !ok {
			return fmt.Errorf("entry %d of loop %d: its loop is not part of the change", entry.record.ID, entry.record.Loop)
		}
		if entry.record.ID != expected {
			return fmt.Errorf("loop %d: entry %d does not continue its history, which goes on with %d: %w",
				entry.record.Loop, entry.record.ID, expected, loops.ErrConflict)
		}
		if err := tx.Put(bucketHistory, entry.key, entry.value); err != nil {
			return err
		}
		if err := putActKey(tx, entry.record); err != nil {
			return err
		}
		next[entry.record.Loop]++
	}
	for _, l := range e.loops {
		if last := next[l.record.ID] - 1; l.record.LastEntry != last {
			return fmt.Errorf("loop %d: last entry is given as %d, its history ends with %d", l.record.ID, l.record.LastEntry, last)
		}
	}
	return nil
}

func (e *encodedChange) writeMessages(tx engine.Writer) error {
	for i, m := range e.messages {
		if tx.Get(bucketMessages, m.key) != nil {
			return fmt.Errorf("message %s: %w", m.record.Key, loops.ErrRepeated)
		}
		if m.record.Owner != 0 {
			if err := ownerKind().exists(tx, uint64(m.record.Owner)); err != nil {
				return fmt.Errorf("message %s: %w", m.record.Key, err)
			}
		}
		recent, err := instantKey(m.record.Created, m.record.Key)
		if err != nil {
			return err
		}
		err = errors.Join(
			tx.Put(bucketMessages, m.key, m.value),
			tx.Put(bucketBodies, m.key, e.bodies[i]),
			tx.Put(bucketRecent, recent, nil),
		)
		if err == nil && m.record.Status == loops.Queued {
			err = putOutbox(tx, m.record)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// putOutbox puts the line of a queued message.
func putOutbox(tx engine.Writer, m loops.Message) error {
	key, err := instantKey(m.NextAttempt, m.Key)
	if err != nil {
		return err
	}
	return tx.Put(bucketOutbox, key, nil)
}

// deleteOutbox deletes the line of a queued message.
func deleteOutbox(tx engine.Writer, m loops.Message) error {
	key, err := instantKey(m.NextAttempt, m.Key)
	if err != nil {
		return err
	}
	return tx.Delete(bucketOutbox, key)
}
