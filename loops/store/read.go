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
	return ownerKind().read(s, uint64(id))
}

// Machine returns the machine, or loops.ErrNotFound.
func (s *Store) Machine(id loops.MachineID) (loops.Machine, error) {
	return machineKind().read(s, uint64(id))
}

// Loop returns the loop, or loops.ErrNotFound.
func (s *Store) Loop(id loops.LoopID) (loops.Loop, error) {
	return loopKind().read(s, uint64(id))
}

// LoopByTag returns the loop whose label carries the tag, or
// loops.ErrNotFound.
func (s *Store) LoopByTag(tag loops.Tag) (loops.Loop, error) {
	var l loops.Loop
	err := s.view(func(tx engine.Reader) error {
		id, err := idOfTag(tx, tag)
		if err != nil {
			return err
		}
		l, err = loopKind().get(tx, uint64(id))
		return err
	})
	if err != nil {
		return loops.Loop{}, fmt.Errorf("store: %w", err)
	}
	return l, nil
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
	return children(s, bucketMachinesByOwner, idKey(owner), bucketMachines, func(tx engine.Reader, key, _ []byte) (loops.Machine, error) {
		_, id, err := decodePairKey[loops.OwnerID, loops.MachineID](key)
		if err != nil {
			return loops.Machine{}, err
		}
		return machineKind().get(tx, uint64(id))
	})
}

// LoopsOf lists a machine's loops by id.
func (s *Store) LoopsOf(machine loops.MachineID) ([]loops.Loop, error) {
	return children(s, bucketLoopsByMachine, idKey(machine), bucketLoops, func(tx engine.Reader, key, _ []byte) (loops.Loop, error) {
		_, id, err := decodePairKey[loops.MachineID, loops.LoopID](key)
		if err != nil {
			return loops.Loop{}, err
		}
		return loopKind().get(tx, uint64(id))
	})
}

// History lists a loop's entries in the order they were recorded. It is empty
// for a loop that is not on record.
func (s *Store) History(loop loops.LoopID) ([]loops.Entry, error) {
	return children(s, bucketHistory, idKey(loop), "", func(_ engine.Reader, key, v []byte) (loops.Entry, error) {
		entry, err := decodeEntry(v)
		if err != nil {
			err = fmt.Errorf("bucket history: %s: %w", printKey(bucketHistory, key), err)
		}
		return entry, err
	})
}

// DueThrough lists the due lines up to and including the day, by day, loop
// and task.
func (s *Store) DueThrough(day loops.Day) ([]loops.Due, error) {
	if _, err := appendDay(nil, day); err != nil {
		return nil, fmt.Errorf("store: due: %w", err)
	}
	var dues []loops.Due
	err := s.view(func(tx engine.Reader) error {
		for key := range tx.Ascend(bucketDue, engine.Span{}) {
			d, err := decodeDueKey(key)
			if err != nil {
				return err
			}
			if d.Day.After(day) {
				return nil
			}
			dues = append(dues, d)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("store: due: %w", err)
	}
	return dues, nil
}

// Sent lists the stages at which an owner was reminded of a loop's task that
// was due on the day.
func (s *Store) Sent(loop loops.LoopID, task loops.TaskKind, due loops.Day) ([]loops.Sent, error) {
	prefix, err := sentPrefix(loop, task, due)
	if err != nil {
		return nil, fmt.Errorf("store: sent: %w", err)
	}
	return children(s, bucketSent, prefix, "", func(_ engine.Reader, key, v []byte) (loops.Sent, error) {
		mark, err := decodeSent(v)
		if err != nil {
			err = fmt.Errorf("bucket sent: %s: %w", printKey(bucketSent, key), err)
		}
		return mark, err
	})
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

// children collects what follows from every key of a bucket with the prefix; of an
// index, the records in the bucket that the rest of its keys leads to.
func children[T any](s *Store, name string, prefix []byte, leadsTo string, follow func(tx engine.Reader, k, v []byte) (T, error)) ([]T, error) {
	var list []T
	err := s.view(func(tx engine.Reader) error {
		list = nil
		var keys, values, next [][]byte
		for k, v := range tx.Ascend(name, engine.Prefix(prefix)) {
			keys, values, next = append(keys, k), append(values, v), append(next, k[len(prefix):])
		}
		if leadsTo != "" {
			tx.GetMany(leadsTo, next)
		}
		for i := range keys {
			record, err := follow(tx, keys[i], values[i])
			if err != nil {
				return err
			}
			list = append(list, record)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	return list, nil
}
