// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// kind says how the records of one type are kept that have an id and a
// revision.
type kind[T any] struct {
	name     string
	bucket   string
	id       func(T) uint64
	revision func(*T) *uint64
	encode   func(T) ([]byte, error)
	decode   func([]byte) (T, error)
}

func ownerKind() kind[loops.Owner] {
	return kind[loops.Owner]{
		"owner", bucketOwners, func(o loops.Owner) uint64 { return uint64(o.ID) },
		func(o *loops.Owner) *uint64 { return &o.Revision }, encodeOwner, decodeOwner,
	}
}

func machineKind() kind[loops.Machine] {
	return kind[loops.Machine]{
		"machine", bucketMachines, func(m loops.Machine) uint64 { return uint64(m.ID) },
		func(m *loops.Machine) *uint64 { return &m.Revision }, encodeMachine, decodeMachine,
	}
}

func loopKind() kind[loops.Loop] {
	return kind[loops.Loop]{
		"loop", bucketLoops, func(l loops.Loop) uint64 { return uint64(l.ID) },
		func(l *loops.Loop) *uint64 { return &l.Revision }, encodeLoop, decodeLoop,
	}
}

func containerKind() kind[loops.Container] {
	return kind[loops.Container]{
		"container", bucketContainers, func(c loops.Container) uint64 { return uint64(c.ID) },
		func(c *loops.Container) *uint64 { return &c.Revision }, encodeContainer, decodeContainer,
	}
}

func instrumentKind() kind[loops.Instrument] {
	return kind[loops.Instrument]{
		"instrument", bucketInstruments, func(i loops.Instrument) uint64 { return uint64(i.ID) },
		func(i *loops.Instrument) *uint64 { return &i.Revision }, encodeInstrument, decodeInstrument,
	}
}

func sampleKind() kind[loops.RetainedSample] {
	return kind[loops.RetainedSample]{
		"sample", bucketSamples, func(s loops.RetainedSample) uint64 { return uint64(s.ID) },
		func(s *loops.RetainedSample) *uint64 { return &s.Revision }, encodeSample, decodeSample,
	}
}

// encoded is one record ready to be put.
type encoded[T any] struct {
	record     T
	key, value []byte
}

// prepare encodes the records with their revisions raised.
func (k kind[T]) prepare(records []T) ([]encoded[T], error) {
	var list []encoded[T]
	for _, r := range records {
		id := k.id(r)
		if id == 0 {
			return nil, fmt.Errorf("%s without an id", k.name)
		}
		raised := r
		*k.revision(&raised)++
		v, err := k.encode(raised)
		if err != nil {
			return nil, fmt.Errorf("%s %d: %w", k.name, id, err)
		}
		list = append(list, encoded[T]{r, idKey(id), v})
	}
	return list, nil
}

// put writes the records whose revisions are those on record, and calls link
// for each with what it replaces.
func (k kind[T]) put(tx engine.Writer, list []encoded[T], link func(old T, exists bool, r T) error) error {
	for _, e := range list {
		id := k.id(e.record)
		old, exists, err := k.replaced(tx, e.key, id, *k.revision(&e.record))
		if err == nil && link != nil {
			err = link(old, exists, e.record)
		}
		if err != nil {
			return fmt.Errorf("%s %d: %w", k.name, id, err)
		}
		if err := putWithID(tx, k.bucket, id, e.key, e.value); err != nil {
			return err
		}
	}
	return nil
}

// replaced returns what is on record, after comparing its revision with the
// one that the writer read.
func (k kind[T]) replaced(tx engine.Reader, key []byte, id, read uint64) (old T, exists bool, err error) {
	stored := tx.Get(k.bucket, key)
	if stored == nil {
		if read != 0 {
			err = fmt.Errorf("read at revision %d and not on record now: %w", read, loops.ErrConflict)
		}
		return old, false, err
	}
	if old, err = k.decode(stored); err != nil {
		return old, true, err
	}
	if now := *k.revision(&old); now != read {
		err = fmt.Errorf("read at revision %d, now %d: %w", read, now, loops.ErrConflict)
	}
	return old, true, err
}

// putWithID puts a record and keeps ids from being handed out that are used.
func putWithID(tx engine.Writer, name string, id uint64, key, value []byte) error {
	if id > tx.Sequence(name) {
		if err := tx.SetSequence(name, id); err != nil {
			return err
		}
	}
	return tx.Put(name, key, value)
}

// exists gives loops.ErrNotFound where the record is not there.
func (k kind[T]) exists(tx engine.Reader, id uint64) error {
	if tx.Get(k.bucket, idKey(id)) == nil {
		return fmt.Errorf("%s %d: %w", k.name, id, loops.ErrNotFound)
	}
	return nil
}

// read returns the record with the id, or loops.ErrNotFound.
func (k kind[T]) read(s *Store, id uint64) (T, error) {
	var record T
	err := s.view(func(tx engine.Reader) (err error) {
		record, err = k.get(tx, id)
		return err
	})
	if err != nil {
		var none T
		return none, fmt.Errorf("store: %w", err)
	}
	return record, nil
}

// get is read inside a transaction.
func (k kind[T]) get(tx engine.Reader, id uint64) (T, error) {
	return get(tx, k.bucket, idKey(id), fmt.Sprintf("%s %d", k.name, id), k.decode)
}
