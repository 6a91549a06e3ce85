// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"encoding/binary"
	"maps"
	"sync"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

const (
	// mostTouches is how many of the last writes are remembered.
	mostTouches = 1024
	// mostTouched is how many records of one write are: who wants to know about
	// more reads all of them.
	mostTouched = 256
)

// touch is what one write touched. What it found tells its place in the row: the
// next one finds the revision after.
type touch struct {
	found loops.StoreRevision
	loops.Touched
	// much tells that it touched more than is remembered.
	much bool
	// wrote tells that it wrote at all: one that did not need leave no revision.
	wrote bool
}

// touches are the last writes of this process, for [Store.TouchedSince].
type touches struct {
	mu  sync.Mutex
	row []touch
}

func newTouch(found loops.StoreRevision) touch {
	return touch{found: found, Touched: loops.Touched{
		Owners: map[loops.OwnerID]bool{}, Machines: map[loops.MachineID]bool{}, Loops: map[loops.LoopID]bool{}, Messages: map[loops.MessageKey]bool{},
	}}
}

// touching is a write transaction that notes what it touches.
type touching struct {
	engine.Writer
	touch *touch
}

func (t touching) Put(bucket string, key, value []byte) error {
	t.touch.add(bucket, key)
	return t.Writer.Put(bucket, key, value)
}

func (t touching) Delete(bucket string, key []byte) error {
	t.touch.add(bucket, key)
	return t.Writer.Delete(bucket, key)
}

func (t touching) SetSequence(bucket string, n uint64) error {
	t.touch.wrote = true
	return t.Writer.SetSequence(bucket, n)
}

// add notes a key; those of the marks of reminders begin with the loop's id.
func (t *touch) add(bucket string, key []byte) {
	t.wrote = true
	switch {
	case bucket == bucketMessages:
		t.Messages[loops.MessageKey(key)] = true
	case bucket == bucketSuppressed:
		t.much = true // an address may be anybody's
	case len(key) < idWidth:
	case bucket == bucketOwners:
		t.Owners[loops.OwnerID(binary.BigEndian.Uint64(key))] = true
	case bucket == bucketMachines:
		t.Machines[loops.MachineID(binary.BigEndian.Uint64(key))] = true
	case bucket == bucketLoops, bucket == bucketSent:
		t.Loops[loops.LoopID(binary.BigEndian.Uint64(key))] = true
	}
	if len(t.Owners)+len(t.Machines)+len(t.Loops)+len(t.Messages) > mostTouched {
		t.much, t.Touched = true, newTouch(t.found).Touched
	}
}

// join adds what another write touched.
func (t *touch) join(other touch) {
	maps.Copy(t.Owners, other.Owners)
	maps.Copy(t.Machines, other.Machines)
	maps.Copy(t.Loops, other.Loops)
	maps.Copy(t.Messages, other.Messages)
	t.much = t.much || other.much
}

// note remembers a write that is about to take place.
func (t *touches) note(is touch) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.row) == mostTouches {
		t.row = append([]touch(nil), t.row[mostTouches/2:]...)
	}
	t.row = append(t.row, is)
}

// forget forgets all of them: the row would not say what took place.
func (t *touches) forget() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.row = nil
}

// between joins the touches from one state to another; ok is false unless all
// of them are known.
func (t *touches) between(from, to loops.StoreRevision) (all touch, ok bool) {
	all = newTouch(from)
	if from == to {
		return all, true
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	known := map[uint64]bool{}
	for _, is := range t.row {
		switch n := is.found.Write; {
		case n < from.Write || n == from.Write && is.found != from:
		default: // of a write after the later state too: it says nothing wrong
			all.join(is)
			known[n] = true
		}
	}
	for n := from.Write; n < to.Write; n++ {
		if !known[n] {
			return all, false
		}
	}
	return all, to.Write > from.Write && !all.much
}

// revisionOf is the state that a transaction finds. Compaction begins the count
// of transactions again; the audit goes on. Beats of who leads change nothing that
// anybody rests on, and do not count.
func revisionOf(tx engine.Reader) loops.StoreRevision {
	return loops.StoreRevision{Write: tx.Revision() - tx.Sequence(bucketMeta), Audit: tx.Sequence(bucketAudit)}
}

// TouchedSince tells which records were written since an earlier revision, and
// the revision that it tells it for. It is false where this process does not know:
// the revision is of long ago, another process wrote meanwhile, or it was much.
func (s *Store) TouchedSince(earlier loops.StoreRevision) (loops.Touched, loops.StoreRevision, bool, error) {
	now, err := s.Revision()
	if err != nil {
		return loops.Touched{}, now, false, err
	}
	all, ok := s.touched.between(earlier, now)
	return all.Touched, now, ok, nil
}

// update runs fn in a write transaction, which lasts when update returns nil.
func (s *Store) update(fn func(engine.Writer) error) error {
	noted := false
	err := s.kept.Update(func(tx engine.Writer) error {
		if err := s.stillLeads(tx); err != nil {
			return err
		}
		if noted { // run again: what it noted did not take place
			s.touched.forget()
		}
		is := newTouch(revisionOf(tx))
		if err := fn(touching{tx, &is}); err != nil {
			return err
		}
		if is.wrote {
			s.touched.note(is) // before others see the write
			noted = true
		}
		return nil
	})
	if err != nil && noted {
		s.touched.forget()
	}
	return err
}
