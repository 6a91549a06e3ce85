// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Report is what [Store.Check] found.
type Report struct {
	// Records counts the values of each bucket that has any.
	Records map[string]int
	// Problems is empty for a sound file.
	Problems []Problem
}

// Problem is one thing that is wrong with the file.
type Problem struct {
	Bucket string // empty for what concerns the file as a whole
	Key    string // as people read it; empty for the bucket as a whole
	What   string
}

// String names the place and what is wrong there.
func (p Problem) String() string {
	switch {
	case p.Bucket == "":
		return "file: " + p.What
	case p.Key == "":
		return p.Bucket + ": " + p.What
	}
	return p.Bucket + " " + p.Key + ": " + p.What
}

// OK tells that nothing is wrong.
func (r Report) OK() bool { return len(r.Problems) == 0 }

// err is nil for a sound file, else it matches [loops.ErrDamaged] and names the
// first problem.
func (r Report) err() error {
	if r.OK() {
		return nil
	}
	return fmt.Errorf("%w (%d problems, the first: %s)", loops.ErrDamaged, len(r.Problems), r.Problems[0])
}

// Check reads the whole store: the checksum and form of every value, every
// index against the records it stands for, every loop's state against its
// history folded again, and of a file its pages. What is wrong is in
// the report; the error says only that Check could not finish, because ctx
// ended or the store is closed. Writers go on while the records are read, and
// wait for the short while that the check of the pages takes.
func (s *Store) Check(ctx context.Context) (Report, error) { return check(ctx, s.kept) }

// check is [Store.Check] for anything of the newest schema.
func check(ctx context.Context, kept engine.Engine) (Report, error) {
	c := checker{ctx: ctx, report: Report{Records: map[string]int{}}, expected: map[string]map[string]bool{}, there: map[string]bool{}}
	for _, name := range indexes() {
		c.expected[name] = map[string]bool{}
	}
	err := c.all(kept)
	switch {
	case errors.Is(err, loops.ErrDamaged):
		c.file(err) // reading on is not safe
	case err != nil:
		return c.report, fmt.Errorf("store: check: %w", err)
	}
	return c.report, nil
}

// all reads what is there, and of a file what it is made of.
func (c *checker) all(kept engine.Engine) error {
	read := func(tx engine.Reader) error {
		if err := c.records(tx); err != nil {
			return err
		}
		c.indexes(tx)
		return nil
	}
	if file, ok := kept.(engine.File); ok {
		return errors.Join(file.Check(read, c.file), c.ctx.Err())
	}
	return kept.View(read)
}

// checker gathers what the records say the indexes should hold.
type checker struct {
	ctx      context.Context
	report   Report
	expected map[string]map[string]bool
	there    map[string]bool // the buckets
}

func (c *checker) problem(bucket, key, what string) {
	c.report.Problems = append(c.report.Problems, Problem{bucket, key, what})
}

// file notes what is wrong with the file as a whole.
func (c *checker) file(err error) { c.problem("", "", err.Error()) }

// records reads every value of every bucket.
func (c *checker) records(tx engine.Reader) error {
	top := map[string]bool{}
	for _, name := range buckets() {
		top[name] = true
	}
	for _, name := range tx.Buckets() {
		c.there[name] = true
		if !top[name] {
			c.problem(name, "", "no bucket of a Fillmark store")
		}
	}
	for _, name := range buckets() {
		if !c.there[name] {
			c.problem(name, "", "the bucket is missing")
		}
	}
	err := c.each(tx, bucketMeta, checkMeta)
	for _, t := range tables() {
		if _, bucket := t.name(); err == nil {
			err = c.each(tx, bucket, func(k, v []byte) error { return t.look(c, tx, k, v) })
		}
	}
	if err != nil {
		return err
	}
	c.counters(tx)
	return nil
}

// counters finds those that would hand out an id that is taken, and lines of
// the audit that got lost.
func (c *checker) counters(tx engine.Reader) {
	if c.there[bucketAudit] && uint64(c.report.Records[bucketAudit]) != tx.Sequence(bucketAudit) {
		c.problem(bucketAudit, "", fmt.Sprintf("%d lines, and %d were written", c.report.Records[bucketAudit], tx.Sequence(bucketAudit)))
	}
	for _, name := range counted() {
		if !c.there[name] {
			continue // already named
		}
		k, _ := engine.First(tx.Descend(name, engine.Span{}))
		if len(k) == idWidth && binary.BigEndian.Uint64(k) > tx.Sequence(name) {
			c.problem(name, printKey(name, k), fmt.Sprintf("the counter of ids stands at %d", tx.Sequence(name)))
		}
	}
}

// each looks at every value of one bucket and at ctx from time to time.
func (c *checker) each(tx engine.Reader, name string, look func(k, v []byte) error) error {
	if !c.there[name] {
		return nil // already named
	}
	for k, v := range tx.Ascend(name, engine.Span{}) {
		if c.report.Records[name]++; c.report.Records[name]%lastBatch == 0 && c.ctx.Err() != nil {
			return c.ctx.Err()
		}
		if err := look(k, v); err != nil {
			c.problem(name, printKey(name, k), err.Error())
		}
	}
	return nil
}

// sameKey tells that a value stands under a key that is not its own.
func sameKey(key, own []byte, err error) error {
	switch {
	case err != nil:
		return err
	case !bytes.Equal(key, own):
		return fmt.Errorf("the record says its key is %q", own)
	case bytes.HasPrefix(key, make([]byte, idWidth)):
		return errors.New("an id is zero")
	}
	return nil
}

// checkHistory compares the loop's last entry and state with its history.
func checkHistory(tx engine.Reader, l loops.Loop) error {
	history, err := historyOf(tx, l)
	if err != nil {
		return err
	}
	is, err := json.Marshal(l.State)
	if err != nil {
		return err
	}
	folded, err := json.Marshal(loops.Fold(history))
	if err != nil {
		return err
	}
	if !bytes.Equal(is, folded) {
		return fmt.Errorf("its state is %s, its history folds to %s", is, folded)
	}
	return nil
}

// indexes compares the lines of every index with those the records ask for.
func (c *checker) indexes(tx engine.Reader) {
	for _, name := range indexes() {
		if !c.there[name] {
			continue // already named
		}
		expected := c.expected[name]
		for k, v := range tx.Ascend(name, engine.Span{}) {
			c.report.Records[name]++
			if !expected[string(k)] {
				c.problem(name, printKey(name, k), "a line that no record asks for")
			}
			if len(v) != 0 {
				c.problem(name, printKey(name, k), "a line of an index with a value")
			}
			delete(expected, string(k))
		}
		for k := range expected {
			c.problem(name, printKey(name, []byte(k)), "the line is missing")
		}
	}
}
