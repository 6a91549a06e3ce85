// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"

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
	var last uint64
	err := s.write("store: new id in "+name, func(tx engine.Writer) error {
		last = tx.Sequence(name)
		return tx.SetSequence(name, last+uint64(max(0, count)))
	})
	if err != nil {
		return 0, err
	}
	return N(last + 1), nil
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
	return s.write("store", e.write)
}

// write puts the change in the order in which records need each other.
func (e *encodedChange) write(tx engine.Writer) error {
	next := map[loops.LoopID]loops.EntryID{} // the number that each loop's next entry must have
	for _, step := range []func() error{
		func() error { return ownerTable().add(tx, e.owners, nil) },
		func() error { return machineTable().add(tx, e.machines, nil) },
		func() error {
			return loopTable().add(tx, e.loops, func(was *loops.Loop, l loops.Loop) error {
				if next[l.ID] = 1; was != nil {
					next[l.ID] = was.LastEntry + 1
				}
				return nil
			})
		},
		func() error { return e.writeEntries(tx, next) },
		func() error { return containerTable().add(tx, e.containers, nil) },
		func() error { return instrumentTable().add(tx, e.instruments, nil) },
		func() error { return sampleTable().add(tx, e.samples, nil) },
		func() error { return usedFluidTable().add(tx, e.usedFluid, nil) },
		func() error { return e.writeMessages(tx) },
		func() error { return e.writeMail(tx) },
		func() error { return appendAudit(tx, e.audit) },
	} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
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
		if err := freeActKey(tx, entry.record); err != nil {
			return err
		}
		if err := entryTable().put(tx, nil, entry); err != nil {
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
	if err := messageTable().add(tx, e.messages, nil); err != nil {
		return err
	}
	return bodyTable().add(tx, e.bodies, nil)
}

// Note writes a line of the audit about something that changes no record.
func (s *Store) Note(line loops.AuditLine) error {
	return s.write("store: "+line.Action, func(tx engine.Writer) error { return audit(tx, line) })
}

// appendAudit puts a line behind all others, whatever the clock says.
func appendAudit(tx engine.Writer, line []byte) error {
	n, err := engine.NextSequence(tx, bucketAudit)
	if err != nil {
		return err
	}
	return tx.Put(bucketAudit, idKey(n), line)
}
