// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"slices"

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
		loop, err := loopTable().get(tx, idKey(id))
		if err != nil {
			return err
		}
		machine, err := machineTable().get(tx, idKey(loop.Machine))
		if err != nil {
			return err
		}
		b.Loops, b.Machines = []loops.Loop{loop}, []loops.Machine{machine}
		if machine.Owner != 0 {
			if b.Owner, err = ownerTable().get(tx, idKey(machine.Owner)); err != nil {
				return err
			}
		}
		if b.Histories, err = historiesIn(tx, history); err != nil || !shelf {
			return err
		}
		onShelf, err := containerTable().in(tx, engine.Span{})
		b.Shelf = append([]loops.Container{}, onShelf...) // asked for, though there may be none
		return err
	})
}

// BelongingsOf returns an owner with all machines and the loops in them, and with
// their histories where they are asked for; or loops.ErrNotFound.
func (s *Store) BelongingsOf(owner loops.OwnerID, histories bool) (loops.Belongings, error) {
	return s.belongings(func(tx engine.Reader, b *loops.Belongings) (err error) {
		tx.Ahead(bucketOwners, [][]byte{idKey(owner)})
		machines := childKeys(tx, bucketMachinesByOwner, idKey(owner))
		if b.Owner, err = ownerTable().get(tx, idKey(owner)); err != nil {
			return err
		}
		tx.Ahead(bucketMachines, machines)
		tx.Ahead(bucketLoopsByMachine, nil, prefixes(machines)...)
		var inside [][]byte
		for _, key := range machines {
			inside = append(inside, childKeys(tx, bucketLoopsByMachine, key)...)
			machine, err := machineTable().get(tx, key)
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
			loop, err := loopTable().get(tx, key)
			if err != nil {
				return err
			}
			if !slices.ContainsFunc(b.Machines, func(m loops.Machine) bool { return m.ID == loop.Machine }) {
				return fmt.Errorf("%w: loop %d stands in a machine of owner %d, and says that it is in machine %d", loops.ErrDamaged, loop.ID, owner, loop.Machine)
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
func (s *Store) belongings(fill func(engine.Reader, *loops.Belongings) error) (loops.Belongings, error) {
	return read(s, "store", func(tx engine.Reader) (b loops.Belongings, err error) { return b, fill(tx, &b) })
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
		entries, err := entryTable().in(tx, span)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			all[e.Loop] = append(all[e.Loop], e)
		}
	}
	return all, nil
}
