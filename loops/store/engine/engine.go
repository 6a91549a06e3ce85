// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package engine says what package store asks of whatever keeps its bytes: an
// ordered map of keys to values in named buckets, each with a counter, read and
// written in transactions.
//
// Main types: a function that reads takes a [Reader], one that writes a [Writer],
// and an [Engine] hands them out. One that keeps all in a file is a [File] too. The
// tests that every engine passes stand in engine_test.go of package store.
//
// Callers may match of package loops ErrInUse, ErrForeign, ErrReadOnly, ErrFull,
// ErrDamaged, ErrGone and ErrAway.
package engine

import (
	"bytes"
	"iter"
	"time"
)

// Options are what whoever opens a store may say. The zero value is right for the
// daemon.
type Options struct {
	// Timeout is how long to wait for another process to let go of the file;
	// zero means one second.
	Timeout time.Duration
	// ReadOnly opens an existing store without ever writing to it.
	ReadOnly bool
	// MaxSize is the size in bytes past which the file may not grow; zero is
	// no limit. A write that would pass it fails and changes nothing.
	MaxSize int
}

// Reader is a read transaction: it sees the store as it was at one moment,
// whatever is written meanwhile. A long one can keep writers waiting.
//
// Its methods give no error. One that cannot be answered, for a bucket that is
// missing, a page that is damaged or a server that has gone, ends the
// transaction with that error, whatever the function that asked returns.
//
// Keys and values are the engine's: they hold until the transaction ends, and
// must be copied to outlive it. Nobody writes into them.
type Reader interface {
	// Get returns the value of a key, nil where there is none. A value that is
	// empty is not nil.
	Get(bucket string, key []byte) []byte
	// GetMany returns the values of several keys, in one question where questions
	// cost: what is known of a key is not asked for again in the transaction.
	GetMany(bucket string, keys [][]byte) [][]byte
	// Ahead tells what will be asked for: keys, and what ranges upwards begin with.
	// Where questions cost it comes with the next answer; else nothing happens.
	Ahead(bucket string, keys [][]byte, spans ...Span)
	// Ascend yields the keys of the span with their values in the order of their
	// bytes. What is written to the bucket before it has ended may be left out.
	Ascend(bucket string, span Span) iter.Seq2[[]byte, []byte]
	// Descend yields what Ascend does, the last first.
	Descend(bucket string, span Span) iter.Seq2[[]byte, []byte]
	// Sequence returns the bucket's counter, zero for a new one.
	Sequence(bucket string) uint64
	// Buckets lists the buckets that there are, by name.
	Buckets() []string
	// Revision tells states of the store apart: each transaction that writes
	// leaves the next number behind. A Writer has that of what it found.
	Revision() uint64
}

// Writer is a write transaction. It reads what it has written itself; others see
// all of it at once, or nothing where it ends with an error.
type Writer interface {
	Reader
	// Put sets the value of a key, which has at least a byte, and 1024 at most
	// where every engine is to take it. Key and value stay as they are until the
	// transaction ends.
	Put(bucket string, key, value []byte) error
	// Delete removes a key; one that is not there is no error.
	Delete(bucket string, key []byte) error
	// SetSequence sets the bucket's counter.
	SetSequence(bucket string, n uint64) error
	// MakeBucket makes a bucket unless it is there.
	MakeBucket(bucket string) error
}

// Engine keeps the bytes. It may be used by many goroutines at once.
type Engine interface {
	// View runs fn in a read transaction. Until it has been given an answer, fn may
	// be run again from its start.
	View(fn func(Reader) error) error
	// Update runs fn in a write transaction, which has taken place, and lasts,
	// when Update returns nil; on any error nothing has changed. Of two that
	// meet, one waits or is run again from its start, so that fn sets what it
	// closes over and never adds to it.
	Update(fn func(Writer) error) error
	// Close waits for running transactions and lets go.
	Close() error
}

// File is an engine that keeps all in one file of its own, which can be copied,
// rewritten, looked at below its keys, and taken away.
type File interface {
	Engine
	// InPlace gives loops.ErrGone where the path that was opened leads to no file
	// any more, or to another one.
	InPlace() error
	// Copy writes the file as it is at one moment to a new one, while writers go
	// on, and lets also read what the copy holds. The copy appears under its name
	// once check has found nothing wrong with it at the path that check is given.
	Copy(to string, also func(Reader) error, check func(path string) error) error
	// Compact rewrites the file without the space that nothing takes, lets check
	// look at the new one, puts it in the place of the old one in one step, and
	// returns the size in bytes before and after. Reads and writes wait.
	Compact(check func(Engine) error) (before, after int64, err error)
	// Check follows what the file is made of, lets read look at keys and values,
	// and tells found what is wrong with the space that is free. Where reading on
	// is not safe it gives an error that matches loops.ErrDamaged.
	Check(read func(Reader) error, found func(error)) error
}

// Span is the keys from From up to and without To; nil is no bound.
type Span struct{ From, To []byte }

// Prefix is the span of the keys that begin so.
func Prefix(prefix []byte) Span {
	return Span{prefix, following(prefix)}
}

// following returns the first key behind all that begin so, nil where there is
// none.
func following(prefix []byte) []byte {
	for n := len(prefix); n > 0; n-- {
		if prefix[n-1] != 0xff {
			next := bytes.Clone(prefix[:n])
			next[n-1]++
			return next
		}
	}
	return nil
}

// After is the span of the keys behind the one given; behind nil are all.
func After(key []byte) Span {
	return Span{From: append(bytes.Clone(key), 0)}
}

// First returns what a range begins with, nil where it is empty.
func First(all iter.Seq2[[]byte, []byte]) (key, value []byte) {
	all(func(k, v []byte) bool {
		key, value = k, v
		return false
	})
	return key, value
}

// NextSequence counts a bucket's counter up and returns it.
func NextSequence(tx Writer, bucket string) (uint64, error) {
	n := tx.Sequence(bucket) + 1
	return n, tx.SetSequence(bucket, n)
}
