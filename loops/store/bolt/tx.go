// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package bolt

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"

	"go.etcd.io/bbolt"

	"fillmark/loops/store/engine"
)

// Tx is a transaction of bbolt's: an [engine.Writer] inside Update, and one to
// read with elsewhere.
type Tx struct {
	bolt *bbolt.Tx
	path string // what errors call the file
}

// bucket returns a bucket. One that is missing is damage, which ends the
// transaction as bbolt itself does on a damaged page.
func (tx Tx) bucket(name string) *bbolt.Bucket {
	b := tx.bolt.Bucket([]byte(name))
	if b == nil {
		panic(fmt.Sprintf("the bucket %q is missing", name))
	}
	return b
}

// Get returns the value of a key, nil where there is none.
func (tx Tx) Get(bucket string, key []byte) []byte { return tx.bucket(bucket).Get(key) }

// GetMany returns the values of several keys.
func (tx Tx) GetMany(bucket string, keys [][]byte) [][]byte {
	values := make([][]byte, len(keys))
	for i, key := range keys {
		values[i] = tx.Get(bucket, key)
	}
	return values
}

// Ahead does nothing: asking costs nothing here.
func (tx Tx) Ahead(string, [][]byte, ...engine.Span) {}

// Ascend yields the keys of the span in order.
func (tx Tx) Ascend(bucket string, span engine.Span) iter.Seq2[[]byte, []byte] {
	return func(yield func(k, v []byte) bool) {
		c := tx.bucket(bucket).Cursor()
		for k, v := c.Seek(span.From); k != nil; k, v = c.Next() {
			if span.To != nil && bytes.Compare(k, span.To) >= 0 || !yield(k, v) {
				return
			}
		}
	}
}

// Descend yields the keys of the span, the last first.
func (tx Tx) Descend(bucket string, span engine.Span) iter.Seq2[[]byte, []byte] {
	return func(yield func(k, v []byte) bool) {
		c := tx.bucket(bucket).Cursor()
		for k, v := lastBefore(c, span.To); k != nil; k, v = c.Prev() {
			if bytes.Compare(k, span.From) < 0 || !yield(k, v) {
				return
			}
		}
	}
}

// lastBefore moves the cursor to the last key before the one given, to the last
// of all where that is nil.
func lastBefore(c *bbolt.Cursor, to []byte) (k, v []byte) {
	if to != nil {
		if k, _ = c.Seek(to); k != nil {
			return c.Prev()
		}
	}
	return c.Last()
}

// Sequence returns the bucket's counter.
func (tx Tx) Sequence(bucket string) uint64 { return tx.bucket(bucket).Sequence() }

// Buckets lists the buckets by name.
func (tx Tx) Buckets() []string {
	var names []string
	c := tx.bolt.Cursor()
	for name, _ := c.First(); name != nil; name, _ = c.Next() {
		names = append(names, string(name))
	}
	return names
}

// Revision is the number of the last transaction that wrote: bbolt gives it to
// those that read, and the one after it to the one that writes.
func (tx Tx) Revision() uint64 {
	if tx.bolt.Writable() {
		return uint64(tx.bolt.ID()) - 1
	}
	return uint64(tx.bolt.ID())
}

// Put sets the value of a key.
func (tx Tx) Put(bucket string, key, value []byte) error {
	if value == nil {
		value = []byte{} // until it is written bbolt would not tell it from a key that is not there
	}
	return tx.bucket(bucket).Put(key, value)
}

// Delete removes a key.
func (tx Tx) Delete(bucket string, key []byte) error { return tx.bucket(bucket).Delete(key) }

// SetSequence sets the bucket's counter.
func (tx Tx) SetSequence(bucket string, n uint64) error {
	return tx.bucket(bucket).SetSequence(n)
}

// MakeBucket makes a bucket unless it is there.
func (tx Tx) MakeBucket(name string) error {
	_, err := tx.bolt.CreateBucketIfNotExists([]byte(name))
	return err
}

// writeTo writes all that the transaction sees, as a file. bbolt hides the cause
// of an error behind its text; here it stays.
func (tx Tx) writeTo(to io.Writer) error {
	w := keeper{Writer: to}
	_, err := tx.bolt.WriteTo(&w)
	if err != nil {
		err = errors.Join(err, w.err)
	}
	return err
}

// keeper keeps the error of its writer.
type keeper struct {
	io.Writer
	err error
}

func (k *keeper) Write(b []byte) (int, error) {
	n, err := k.Writer.Write(b)
	k.err = err
	return n, err
}
