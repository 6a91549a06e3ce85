// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Owner returns the owner, or loops.ErrNotFound.
func (s *Store) Owner(id loops.OwnerID) (loops.Owner, error) {
	return ownerTable().read(s, idKey(id))
}

// Machine returns the machine, or loops.ErrNotFound.
func (s *Store) Machine(id loops.MachineID) (loops.Machine, error) {
	return machineTable().read(s, idKey(id))
}

// Loop returns the loop, or loops.ErrNotFound.
func (s *Store) Loop(id loops.LoopID) (loops.Loop, error) {
	return loopTable().read(s, idKey(id))
}

// LoopByTag returns the loop whose label carries the tag, or
// loops.ErrNotFound.
func (s *Store) LoopByTag(tag loops.Tag) (loops.Loop, error) {
	return read(s, "store", func(tx engine.Reader) (l loops.Loop, err error) {
		id, err := idOfTag(tx, tag)
		if err != nil {
			return l, err
		}
		return loopTable().get(tx, idKey(id))
	})
}

func idOfTag(tx engine.Reader, tag loops.Tag) (loops.LoopID, error) {
	key, _ := engine.First(tx.Ascend(bucketTags, engine.Prefix([]byte(tag))))
	if key == nil || len(tag) != tagWidth {
		return 0, fmt.Errorf("tag %s: %w", tag, loops.ErrNotFound)
	}
	_, id, err := decodeTagKey(key)
	if err != nil {
		return 0, fmt.Errorf("tags: %w", err)
	}
	return id, nil
}

// MachinesOf lists an owner's machines by id; those of owner zero are the
// donor units.
func (s *Store) MachinesOf(owner loops.OwnerID) ([]loops.Machine, error) {
	return children(s, bucketMachinesByOwner, idKey(owner), machineTable())
}

// LoopsOf lists a machine's loops by id.
func (s *Store) LoopsOf(machine loops.MachineID) ([]loops.Loop, error) {
	return children(s, bucketLoopsByMachine, idKey(machine), loopTable())
}

// History lists a loop's entries in the order they were recorded. It is empty
// for a loop that is not on record.
func (s *Store) History(loop loops.LoopID) ([]loops.Entry, error) {
	return entryTable().under(s, idKey(loop))
}

// DueThrough lists the due lines up to and including the day, by day, loop
// and task.
func (s *Store) DueThrough(day loops.Day) ([]loops.Due, error) {
	return read(s, "store: due", func(tx engine.Reader) (dues []loops.Due, err error) {
		if _, err := appendDay(nil, day); err != nil {
			return nil, err
		}
		for key := range tx.Ascend(bucketDue, engine.Span{}) {
			d, err := decodeDueKey(key)
			if err != nil || d.Day.After(day) {
				return dues, err
			}
			dues = append(dues, d)
		}
		return dues, nil
	})
}

// Sent lists the stages at which an owner was reminded of a loop's task that
// was due on the day.
func (s *Store) Sent(loop loops.LoopID, task loops.TaskKind, due loops.Day) ([]loops.Sent, error) {
	prefix, err := sentPrefix(loop, task, due)
	if err != nil {
		return nil, fmt.Errorf("store: sent: %w", err)
	}
	return sentTable().under(s, prefix)
}

// get decodes one record inside a transaction.
func get[T any](tx engine.Reader, name string, key []byte, what string, decode func([]byte) (T, error)) (T, error) {
	stored := tx.Get(name, key)
	if stored == nil {
		var none T
		return none, fmt.Errorf("%s: %w", what, loops.ErrNotFound)
	}
	record, err := decode(stored)
	if err != nil {
		err = fmt.Errorf("bucket %s: %s: %w", name, what, err)
	}
	return record, err
}

// children collects the records to which the lines of an index with the prefix
// lead by the rest of their keys.
func children[T any](s *Store, index string, prefix []byte, of table[T]) ([]T, error) {
	return read(s, "store", func(tx engine.Reader) ([]T, error) {
		var keys [][]byte
		for k := range tx.Ascend(index, engine.Prefix(prefix)) {
			if len(k) != len(prefix)+idWidth {
				return nil, badKey(k)
			}
			keys = append(keys, k[len(prefix):])
		}
		tx.Ahead(of.bucket, keys)
		var list []T
		for _, key := range keys {
			r, err := of.get(tx, key)
			if err != nil {
				return nil, err
			}
			list = append(list, r)
		}
		return list, nil
	})
}

// under collects the records whose keys have the prefix.
func (t table[T]) under(s *Store, prefix []byte) ([]T, error) {
	return read(s, "store", func(tx engine.Reader) ([]T, error) { return t.in(tx, engine.Prefix(prefix)) })
}

// in collects those of a span in a transaction.
func (t table[T]) in(tx engine.Reader, span engine.Span) (list []T, err error) {
	for k, v := range tx.Ascend(t.bucket, span) {
		r, err := t.decode(v)
		if err != nil {
			return nil, fmt.Errorf("bucket %s: %s: %w", t.bucket, printKey(t.bucket, k), err)
		}
		list = append(list, r)
	}
	return list, nil
}
