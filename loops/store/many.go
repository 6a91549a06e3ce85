// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// What a list needs of many records is read at once: where the engine is a server,
// one question for each would take longer than all the rest. What is not on record
// is left out of the answers.

// LoopsWith returns the loops with the ids.
func (s *Store) LoopsWith(ids []loops.LoopID) (map[loops.LoopID]loops.Loop, error) {
	return many(s, bucketLoops, ids, idOf, loopTable().decode)
}

// LoopsTagged returns the loops whose labels carry the tags.
func (s *Store) LoopsTagged(tags []loops.Tag) (all map[loops.Tag]loops.Loop, err error) {
	var spans []engine.Span
	for _, tag := range tags {
		if len(tag) == tagWidth {
			spans = append(spans, engine.Prefix([]byte(tag)))
		}
	}
	of := map[loops.LoopID]loops.Tag{}
	err = s.throughIndex(bucketTags, spans, func(key []byte) (loops.LoopID, error) {
		tag, id, err := decodeTagKey(key)
		of[id] = tag
		return id, err
	}, func(found []loops.Loop) {
		all = map[loops.Tag]loops.Loop{}
		for _, l := range found {
			all[of[l.ID]] = l
		}
	})
	return all, err
}

// LoopsInside returns the loops in the machines, each by id.
func (s *Store) LoopsInside(machines []loops.MachineID) (all map[loops.MachineID][]loops.Loop, err error) {
	var spans []engine.Span
	for _, id := range machines {
		spans = append(spans, engine.Prefix(idKey(id)))
	}
	err = s.throughIndex(bucketLoopsByMachine, spans, func(key []byte) (loops.LoopID, error) {
		_, id, err := decodePairKey[loops.MachineID, loops.LoopID](key)
		return id, err
	}, func(found []loops.Loop) {
		all = map[loops.MachineID][]loops.Loop{}
		for _, l := range found {
			all[l.Machine] = append(all[l.Machine], l)
		}
	})
	return all, err
}

// throughIndex hands over the loops that some spans of an index lead to.
func (s *Store) throughIndex(index string, spans []engine.Span, id func(key []byte) (loops.LoopID, error), take func([]loops.Loop)) error {
	if len(spans) == 0 {
		return nil
	}
	err := s.view(func(tx engine.Reader) error {
		tx.Ahead(index, nil, spans...)
		var ids [][]byte
		for _, span := range spans {
			for k := range tx.Ascend(index, span) {
				one, err := id(k)
				if err != nil {
					return fmt.Errorf("%s: %w", index, err)
				}
				ids = append(ids, idKey(one))
			}
		}
		tx.Ahead(bucketLoops, ids)
		var found []loops.Loop
		for _, key := range ids {
			l, err := loopTable().get(tx, key)
			if err != nil {
				return err
			}
			found = append(found, l)
		}
		take(found)
		return nil
	})
	if err != nil {
		return fmt.Errorf("store: %w", err)
	}
	return nil
}

// MachinesWith returns the machines with the ids.
func (s *Store) MachinesWith(ids []loops.MachineID) (map[loops.MachineID]loops.Machine, error) {
	return many(s, bucketMachines, ids, idOf, machineTable().decode)
}

// OwnersWith returns the owners with the ids.
func (s *Store) OwnersWith(ids []loops.OwnerID) (map[loops.OwnerID]loops.Owner, error) {
	return many(s, bucketOwners, ids, idOf, ownerTable().decode)
}

// MessageHeads returns the messages with the keys, without their text.
func (s *Store) MessageHeads(keys []loops.MessageKey) (map[loops.MessageKey]loops.Message, error) {
	return many(s, bucketMessages, keys, messageKey, messageTable().decode)
}

// SuppressionsOf tells of the addresses, by the names asked for, to which nothing is
// sent.
func (s *Store) SuppressionsOf(addresses []string) (map[string]loops.Suppression, error) {
	return many(s, bucketSuppressed, addresses, func(address string) ([]byte, error) { return appendText(nil, strings.ToLower(address)) }, suppressionTable().decode)
}

// SentOf lists, for each task due on a day, the stages at which an owner was
// reminded of it.
func (s *Store) SentOf(dues []loops.Due) (map[loops.Due][]loops.Sent, error) {
	var marks []loops.Sent // as they would be, but for the message
	for _, d := range dues {
		for _, stage := range stages() {
			marks = append(marks, loops.Sent{Loop: d.Loop, Task: d.Task, Due: d.Day, Stage: stage})
		}
	}
	found, err := many(s, bucketSent, marks, sentKey, decodeSent)
	if err != nil {
		return nil, err
	}
	all := map[loops.Due][]loops.Sent{}
	for _, mark := range marks {
		if is, there := found[mark]; there {
			delete(found, mark) // a task may be asked for twice
			d := loops.Due{Loop: mark.Loop, Task: mark.Task, Day: mark.Due}
			all[d] = append(all[d], is)
		}
	}
	return all, nil
}

// stages are those of reminders, in the order of their names, as the keys have them.
func stages() []loops.Stage {
	all := []loops.Stage{loops.StageAhead, loops.StageDue, loops.StageLate, loops.StageLast, loops.StageCall}
	slices.Sort(all)
	return all
}

// Histories returns the histories of the loops, each in the order in which its
// entries were recorded. Loops whose ids follow each other are read as one.
func (s *Store) Histories(ids []loops.LoopID) (map[loops.LoopID][]loops.Entry, error) {
	ids = slices.Compact(slices.Sorted(slices.Values(ids)))
	var spans []engine.Span
	for left := ids; len(left) > 0; {
		n := 1
		for n < len(left) && left[n] == left[n-1]+1 {
			n++
		}
		spans = append(spans, engine.Span{From: idKey(left[0]), To: idKey(left[n-1] + 1)})
		left = left[n:]
	}
	if spans == nil {
		return nil, nil
	}
	var all map[loops.LoopID][]loops.Entry
	err := s.view(func(tx engine.Reader) (err error) {
		tx.Ahead(bucketHistory, nil, spans...)
		all, err = historiesIn(tx, spans...)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	return all, nil
}

// many reads the records of a bucket whose keys follow from what is asked for.
func many[K comparable, T any](s *Store, name string, asked []K, keyOf func(K) ([]byte, error), decode func([]byte) (T, error)) (map[K]T, error) {
	keys, err := keysOf(asked, keyOf)
	if err != nil {
		return nil, fmt.Errorf("store: %s: %w", name, err)
	}
	all := map[K]T{}
	if len(keys) == 0 {
		return all, nil
	}
	err = s.view(func(tx engine.Reader) error {
		clear(all)
		for i, stored := range tx.GetMany(name, keys) {
			if stored == nil {
				continue
			}
			record, err := decode(stored)
			if err != nil {
				return fmt.Errorf("bucket %s: %s: %w", name, printKey(name, keys[i]), err)
			}
			all[asked[i]] = record
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("store: %w", err)
	}
	return all, nil
}

func keysOf[K any](asked []K, keyOf func(K) ([]byte, error)) ([][]byte, error) {
	keys, faults := make([][]byte, len(asked)), make([]error, len(asked))
	for i, one := range asked {
		keys[i], faults[i] = keyOf(one)
	}
	return keys, errors.Join(faults...)
}

func idOf[ID ~uint64](id ID) ([]byte, error) { return idKey(id), nil }

// lookAhead has what is asked for next read at once, in one that writes too.
func lookAhead(tx engine.Reader, keys []loops.MessageKey, buckets ...string) error {
	wanted, err := keysOf(keys, messageKey)
	if err != nil {
		return err
	}
	for _, name := range buckets {
		tx.GetMany(name, wanted)
	}
	return nil
}
