// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"encoding/binary"
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// LoopWith returns the loop whose label carries the tag, with its machine, its owner
// and its history, and with the containers on the shelf where they are asked for; or
// loops.ErrNotFound.
func (s *Store) LoopWith(tag loops.Tag, shelf bool) (loops.Belongings, error) {
	return s.belongings(func(tx engine.Reader, b *loops.Belongings) error {
		if shelf {
			tx.Ahead(bucketContainers, nil, engine.Span{})
		}
		id, err := idOfTag(tx, tag)
		if err != nil {
			return err
		}
		history := engine.Prefix(idKey(id))
		tx.Ahead(bucketHistory, nil, history)
		loop, err := loopKind().get(tx, uint64(id))
		if err != nil {
			return err
		}
		machine, err := machineKind().get(tx, uint64(loop.Machine))
		if err != nil {
			return err
		}
		b.Loops, b.Machines = []loops.Loop{loop}, []loops.Machine{machine}
		if machine.Owner != 0 {
			if b.Owner, err = ownerKind().get(tx, uint64(machine.Owner)); err != nil {
				return err
			}
		}
		if b.Histories, err = historiesIn(tx, history); err != nil || !shelf {
			return err
		}
		b.Shelf = []loops.Container{}
		for k, v := range tx.Ascend(bucketContainers, engine.Span{}) {
			c, err := decodeContainer(v)
			if err != nil {
				return fmt.Errorf("bucket %s: %s: %w", bucketContainers, printKey(bucketContainers, k), err)
			}
			b.Shelf = append(b.Shelf, c)
		}
		return nil
	})
}

// BelongingsOf returns an owner with all machines and the loops in them, and with
// their histories where they are asked for; or loops.ErrNotFound.
func (s *Store) BelongingsOf(owner loops.OwnerID, histories bool) (loops.Belongings, error) {
	return s.belongings(func(tx engine.Reader, b *loops.Belongings) (err error) {
		tx.Ahead(bucketOwners, [][]byte{idKey(owner)})
		machines := childKeys(tx, bucketMachinesByOwner, idKey(owner))
		if b.Owner, err = ownerKind().get(tx, uint64(owner)); err != nil {
			return err
		}
		tx.Ahead(bucketMachines, machines)
		tx.Ahead(bucketLoopsByMachine, nil, prefixes(machines)...)
		var inside [][]byte
		for _, key := range machines {
			inside = append(inside, childKeys(tx, bucketLoopsByMachine, key)...)
			machine, err := machineKind().get(tx, binary.BigEndian.Uint64(key))
			if err != nil {
				return err
			}
			b.Machines = append(b.Machines, machine)
		}
		tx.Ahead(bucketLoops, inside)
		if histories {
			tx.Ahead(bucketHistory, nil, prefixes(inside)...)
		}
		for _, key := range inside {
			loop, err := loopKind().get(tx, binary.BigEndian.Uint64(key))
			if err != nil {
				return err
			}
			b.Loops = append(b.Loops, loop)
		}
		if histories {
			b.Histories, err = historiesIn(tx, prefixes(inside)...)
		}
		return err
	})
}

// belongings reads some at one moment.
func (s *Store) belongings(read func(engine.Reader, *loops.Belongings) error) (b loops.Belongings, err error) {
	err = s.view(func(tx engine.Reader) error {
		b = loops.Belongings{}
		return read(tx, &b)
	})
	if err != nil {
		return loops.Belongings{}, fmt.Errorf("store: %w", err)
	}
	return b, nil
}

// childKeys are the second ids of an index of pairs, of those that the first one has.
func childKeys(tx engine.Reader, index string, of []byte) (keys [][]byte) {
	for k := range tx.Ascend(index, engine.Prefix(of)) {
		if len(k) == 2*idWidth { // else check tells it
			keys = append(keys, k[idWidth:])
		}
	}
	return keys
}

func prefixes(keys [][]byte) (spans []engine.Span) {
	for _, key := range keys {
		spans = append(spans, engine.Prefix(key))
	}
	return spans
}

// historiesIn reads the entries of some spans, by loop.
func historiesIn(tx engine.Reader, spans ...engine.Span) (map[loops.LoopID][]loops.Entry, error) {
	all := map[loops.LoopID][]loops.Entry{}
	for _, span := range spans {
		for k, v := range tx.Ascend(bucketHistory, span) {
			e, err := decodeEntry(v)
			if err != nil {
				return nil, fmt.Errorf("bucket history: %s: %w", printKey(bucketHistory, k), err)
			}
			all[e.Loop] = append(all[e.Loop], e)
		}
	}
	return all, nil
}
