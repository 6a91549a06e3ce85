// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"slices"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// table says how the records of one kind are kept. All that writes, reads,
// imports or checks them goes by it.
type table[T any] struct {
	kind   string // in errors, in the audit and in the lines of an export
	bucket string
	encode func(T) ([]byte, error)
	decode func(stored []byte) (T, error)
	// key is that of a record; nil for lines that are numbered as they come, and
	// for what does not hold its key.
	key func(T) ([]byte, error)
	// revision is where a record has it; nil for one that is only ever added.
	revision func(*T) *uint64
	// lines are those of the indexes that follow from a record, needs the places
	// in which there has to be something; nil for none.
	lines func(T) ([]place, error)
	needs func(T) []place
	// refuses tells what on record speaks against the record, whoever brings it,
	// and also what else a check finds; nil for nothing.
	refuses func(engine.Reader, T) error
	also    func(*checker, engine.Reader, T) error
	// called names a record in errors and in the audit; nil for its kind and key.
	called func(T) string
	// counted tells that the counter of the bucket hands out its ids, exported
	// that it is in an export, as decodeLine reads it, or decode where that is nil.
	counted, exported bool
	decodeLine        func(stored []byte) (T, error)
}

// place is a key of a bucket.
type place struct {
	bucket string
	key    []byte
}

// String is the record that stands there, as people call it.
func (p place) String() string {
	for _, t := range tables() {
		if kind, bucket := t.name(); bucket == p.bucket {
			return kind + " " + printKey(bucket, p.key)
		}
	}
	return p.bucket + " " + printKey(p.bucket, p.key)
}

func encodeV1[T any](record T) ([]byte, error)    { return encode(recordV1, record) }
func decodeV1[T any](stored []byte) (T, error)    { return decode[T](recordV1, stored) }
func keyOfText(text string) ([]byte, error)       { return appendText(nil, text) }
func (p place) there(tx engine.Reader) bool       { return tx.Get(p.bucket, p.key) != nil }
func (t table[T]) name() (kind, bucket string)    { return t.kind, t.bucket }
func (t table[T]) kept() (counted, exported bool) { return t.counted, t.exported }

// title names a record.
func (t table[T]) title(r T) string {
	if t.called != nil {
		return t.called(r)
	}
	key, err := t.key(r)
	if err != nil {
		return t.kind
	}
	return t.kind + " " + printKey(t.bucket, key)
}

// encoded is one record ready to be put.
type encoded[T any] struct {
	record     T
	key, value []byte
}

// prepare encodes the records with their revisions raised.
func (t table[T]) prepare(records []T) ([]encoded[T], error) {
	var list []encoded[T]
	for _, r := range records {
		raised := r
		if t.revision != nil {
			*t.revision(&raised)++
		}
		key, err := t.key(r)
		if bytes.HasPrefix(key, make([]byte, idWidth)) {
			return nil, fmt.Errorf("%s without an id", t.kind)
		}
		value, more := t.encode(raised)
		if err := errors.Join(err, more); err != nil {
			return nil, fmt.Errorf("%s: %w", t.title(r), err)
		}
		list = append(list, encoded[T]{r, key, value})
	}
	return list, nil
}

// add puts the records whose revisions are those on record, and those without one
// where nothing is yet; it calls each, where it is not nil, with what is replaced.
func (t table[T]) add(tx engine.Writer, list []encoded[T], each func(was *T, r T) error) error {
	for _, e := range list {
		was, err := t.replaced(tx, e)
		if err == nil && t.needs != nil {
			err = t.missing(tx, e.record)
		}
		if err == nil && t.refuses != nil {
			err = t.refuses(tx, e.record)
		}
		if err == nil && each != nil {
			err = each(was, e.record)
		}
		if err == nil {
			err = t.put(tx, was, e)
		}
		if err == nil && t.counted && lastID(e.key) > tx.Sequence(t.bucket) { // no id is handed out that is used
			err = tx.SetSequence(t.bucket, lastID(e.key))
		}
		if err != nil {
			return fmt.Errorf("%s: %w", t.title(e.record), err)
		}
	}
	return nil
}

// missing gives loops.ErrNotFound for what the record needs and is not there.
func (t table[T]) missing(tx engine.Reader, r T) error {
	for _, p := range t.needs(r) {
		if !p.there(tx) {
			return fmt.Errorf("%s: %w", p, loops.ErrNotFound)
		}
	}
	return nil
}

// replaced returns what is on record, nil for nothing, after comparing its
// revision with the one that the writer read.
func (t table[T]) replaced(tx engine.Reader, e encoded[T]) (*T, error) {
	stored := tx.Get(t.bucket, e.key)
	switch {
	case t.revision == nil && stored != nil:
		return nil, loops.ErrRepeated
	case t.revision == nil:
		return nil, nil
	}
	read := *t.revision(&e.record)
	if stored == nil && read != 0 {
		return nil, fmt.Errorf("read at revision %d and not on record now: %w", read, loops.ErrConflict)
	}
	if stored == nil {
		return nil, nil
	}
	old, err := t.decode(stored)
	if now := *t.revision(&old); err == nil && now != read {
		err = fmt.Errorf("read at revision %d, now %d: %w", read, now, loops.ErrConflict)
	}
	return &old, err
}

// put puts a record and the lines of its indexes in the place of those that there
// were.
func (t table[T]) put(tx engine.Writer, was *T, e encoded[T]) error {
	if err := t.move(tx, was, &e.record); err != nil {
		return err
	}
	return tx.Put(t.bucket, e.key, e.value)
}

// move turns the lines of a record as it was into those of it as it is; nil is
// none. What is in both is left alone.
func (t table[T]) move(tx engine.Writer, was, is *T) error {
	var lines [2][]place
	for i, r := range []*T{was, is} {
		if r == nil || t.lines == nil {
			continue
		}
		var err error
		if lines[i], err = t.lines(*r); err != nil {
			return err
		}
	}
	without := func(all, those []place) []place {
		return slices.DeleteFunc(slices.Clone(all), func(p place) bool {
			return slices.ContainsFunc(those, func(q place) bool { return p.bucket == q.bucket && bytes.Equal(p.key, q.key) })
		})
	}
	for _, p := range without(lines[0], lines[1]) {
		if err := tx.Delete(p.bucket, p.key); err != nil {
			return err
		}
	}
	for _, p := range without(lines[1], lines[0]) {
		if err := tx.Put(p.bucket, p.key, nil); err != nil {
			return err
		}
	}
	return nil
}

// replace puts a record in the place of the one that was read in the same
// transaction, nil for none, as it is. Of a kind whose lines of indexes follow from
// the record, nil is right only where none is there: else its old lines stay.
func (t table[T]) replace(tx engine.Writer, was *T, is T) error {
	value, err := t.encode(is)
	if err != nil {
		return err
	}
	key, err := t.keyFor(tx, is)
	if err != nil {
		return err
	}
	return t.put(tx, was, encoded[T]{is, key, value})
}

// keyFor is the key under which the record is put.
func (t table[T]) keyFor(tx engine.Writer, r T) ([]byte, error) {
	if t.key != nil {
		return t.key(r)
	}
	n, err := engine.NextSequence(tx, t.bucket)
	return idKey(n), err
}

// rewrite puts a record that was read in the same transaction, with its revision
// raised.
func (t table[T]) rewrite(tx engine.Writer, r T) error {
	list, err := t.prepare([]T{r})
	if err != nil {
		return err
	}
	return t.add(tx, list, nil)
}

// remove deletes a record and its lines.
func (t table[T]) remove(tx engine.Writer, r T) error {
	key, err := t.key(r)
	if err == nil {
		err = t.move(tx, &r, nil)
	}
	if err != nil {
		return err
	}
	return tx.Delete(t.bucket, key)
}

// get returns the record under the key, or loops.ErrNotFound.
func (t table[T]) get(tx engine.Reader, key []byte) (T, error) {
	return get(tx, t.bucket, key, t.kind+" "+printKey(t.bucket, key), t.decode)
}

// read does so in a transaction of its own.
func (t table[T]) read(s *Store, key []byte) (T, error) {
	return read(s, "store", func(tx engine.Reader) (T, error) { return t.get(tx, key) })
}

// readAs does so for a key of text, which is in no error: what is said instead.
func (t table[T]) readAs(s *Store, key, what string) (T, error) {
	return read(s, "store", func(tx engine.Reader) (T, error) { return get(tx, t.bucket, []byte(key), what, t.decode) })
}

// all yields every record in the order of the keys, and newest the last first.
func (t table[T]) all(s *Store) iter.Seq2[T, error]    { return scan(s, t.bucket, false, nil, t.follow) }
func (t table[T]) newest(s *Store) iter.Seq2[T, error] { return scan(s, t.bucket, true, nil, t.follow) }

// follow is for a scan, in which the records are what it scans.
func (t table[T]) follow(_ engine.Reader, _, stored []byte) (T, error) { return t.decode(stored) }

// importer puts the records of an export, whose keys come in order, with their
// lines.
func (t table[T]) importer() func(engine.Writer, []byte) error {
	decode := t.decode
	if t.decodeLine != nil {
		decode = t.decodeLine
	}
	var last []byte // the greatest key so far: none behind it stands there
	return func(tx engine.Writer, stored []byte) error {
		r, err := decode(stored)
		if err != nil {
			return err
		}
		if t.refuses != nil {
			if err := t.refuses(tx, r); err != nil {
				return err
			}
		}
		value, err := t.encode(r)
		if err != nil {
			return err
		}
		key, err := t.keyFor(tx, r)
		switch {
		case err != nil:
			return err
		case bytes.Compare(key, last) > 0:
			last = key
		case tx.Get(t.bucket, key) != nil:
			return fmt.Errorf("%s stands there twice", printKey(t.bucket, key))
		}
		return t.put(tx, nil, encoded[T]{r, key, value})
	}
}

// look checks a value, and tells the checker which lines follow from it.
func (t table[T]) look(c *checker, tx engine.Reader, k, v []byte) error {
	r, err := t.decode(v)
	if err != nil || t.key == nil {
		return err
	}
	key, err := t.key(r)
	if err := sameKey(k, key, err); err != nil {
		return err
	}
	if t.lines != nil {
		lines, err := t.lines(r)
		if err != nil {
			return err
		}
		for _, p := range lines {
			c.expected[p.bucket][string(p.key)] = true
		}
	}
	if t.needs != nil {
		for _, p := range t.needs(r) {
			if c.there[p.bucket] && !p.there(tx) {
				return fmt.Errorf("its %s is not there", p)
			}
		}
	}
	if t.also != nil {
		return t.also(c, tx, r)
	}
	return nil
}
