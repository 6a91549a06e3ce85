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

// indexes lists the buckets whose lines follow from the records.
func indexes() []string {
	return []string{bucketMachinesByOwner, bucketLoopsByMachine, bucketTags, bucketDue, bucketRecent, bucketOutbox, bucketActKeys}
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

// expect notes a line that an index must have.
func (c *checker) expect(index string, key []byte, err error) error {
	if err == nil {
		c.expected[index][string(key)] = true
	}
	return err
}

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
			continue
		}
		look := c.looker(tx, name)
		if look == nil {
			continue
		}
		if err := c.each(tx, name, look); err != nil {
			return err
		}
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

// looker returns what is to be checked of each value of a bucket, nil for an
// index.
func (c *checker) looker(tx engine.Reader, name string) func(k, v []byte) error {
	switch name {
	case bucketMeta:
		return func(k, v []byte) (err error) {
			switch string(k) {
			case keyUptime:
				_, err = decode[uptimeV1](recordV1, v)
			case keyID:
				_, err = decode[idV1](recordV1, v)
			case keyBackups:
				_, err = decode[backupsV1](recordV1, v)
			case keyAlarms:
				_, err = decode[alarmBookV1](recordV1, v)
			case keyLead:
				_, err = decode[leadV1](recordV1, v)
			case keyCanary:
				_, err = decode[canaryV1](recordV1, v)
			default:
				switch {
				case isMailboxKey(k):
					_, err = decode[mailPlaceV1](recordV1, v)
				case isSameKey(k):
					_, err = decode[sameV1](recordV1, v)
				default:
					_, err = decode[schemaV1](recordV1, v)
				}
			}
			return err
		}
	case bucketOwners:
		return lookRevised(ownerKind())
	case bucketContainers:
		return lookRevised(containerKind())
	case bucketInstruments:
		return lookRevised(instrumentKind())
	case bucketSamples:
		return lookRevised(sampleKind())
	case bucketUsedFluid:
		return func(k, v []byte) error {
			u, err := decodeUsedFluid(v)
			return sameKey(k, idKey(u.ID), err)
		}
	case bucketSuppressed:
		return lookText(decodeSuppression, func(x loops.Suppression) string { return x.Address })
	case bucketMachines:
		return func(k, v []byte) error { return c.machine(tx, k, v) }
	case bucketLoops:
		return func(k, v []byte) error { return c.loop(tx, k, v) }
	case bucketHistory:
		return func(k, v []byte) error { return c.entry(tx, k, v) }
	case bucketMessages:
		return func(k, v []byte) error { return c.message(k, v) }
	case bucketBodies:
		return func(k, v []byte) error {
			if tx.Get(bucketMessages, k) == nil {
				return fmt.Errorf("the text of a message that is not there")
			}
			body, err := decodeBody(v)
			return sameKey(k, []byte(body.Key), err)
		}
	case bucketSent:
		return func(k, v []byte) error { return c.sent(tx, k, v) }
	case bucketEvidence:
		return func(k, v []byte) error {
			e, err := decodeEvidence(v)
			return sameKey(k, idKey(e.Version), err)
		}
	case bucketWatches:
		return func(k, v []byte) error {
			w, err := decodeWatch(v)
			return sameKey(k, idKey(w.ID), err)
		}
	case bucketMailRead:
		return func(_, v []byte) error { _, err := decode[mailReadV1](recordV1, v); return err }
	case bucketAudit:
		return func(_, v []byte) error { _, err := decodeAudit(v); return err }
	case bucketTechnicians:
		return lookText(decodeTechnician, loops.Technician.Folded)
	case bucketSignIns:
		return lookText(decodeSignIn, func(x loops.SignIn) string { return x.Hash })
	case bucketTokens:
		return lookText(decodeToken, func(t loops.PasswordToken) string { return t.Hash })
	}
	return nil
}

// lookText looks at records under a text key that nothing else follows from.
func lookText[T any](decode func([]byte) (T, error), key func(T) string) func(k, v []byte) error {
	return func(k, v []byte) error {
		r, err := decode(v)
		return sameKey(k, []byte(key(r)), err)
	}
}

// lookRevised looks at records that nothing else follows from.
func lookRevised[T any](kind kind[T]) func(k, v []byte) error {
	return func(k, v []byte) error {
		r, err := kind.decode(v)
		return sameKey(k, idKey(kind.id(r)), err)
	}
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

func (c *checker) machine(tx engine.Reader, k, v []byte) error {
	m, err := decodeMachine(v)
	if err := sameKey(k, idKey(m.ID), err); err != nil {
		return err
	}
	c.expected[bucketMachinesByOwner][string(pairKey(m.Owner, m.ID))] = true
	if m.Owner != 0 && tx.Get(bucketOwners, idKey(m.Owner)) == nil {
		return fmt.Errorf("its owner %d is not there", m.Owner)
	}
	return nil
}

func (c *checker) loop(tx engine.Reader, k, v []byte) error {
	l, err := decodeLoop(v)
	if err := sameKey(k, idKey(l.ID), err); err != nil {
		return err
	}
	c.expected[bucketLoopsByMachine][string(pairKey(l.Machine, l.ID))] = true
	tag, err := tagKey(l.Tag, l.ID)
	if err := c.expect(bucketTags, tag, err); err != nil {
		return err
	}
	for _, d := range l.Dues() {
		key, err := dueKey(d)
		if err := c.expect(bucketDue, key, err); err != nil {
			return err
		}
	}
	if tx.Get(bucketMachines, idKey(l.Machine)) == nil {
		return fmt.Errorf("its machine %d is not there", l.Machine)
	}
	return checkHistory(tx, l)
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

func (c *checker) entry(tx engine.Reader, k, v []byte) error {
	e, err := decodeEntry(v)
	if err := sameKey(k, pairKey(e.Loop, e.ID), err); err != nil {
		return err
	}
	if c.there[bucketActKeys] && actKeyKept(e, tx.Sequence(bucketActKeys)) {
		c.expected[bucketActKeys][string(actKey(e))] = true
	}
	if tx.Get(bucketLoops, idKey(e.Loop)) == nil {
		return fmt.Errorf("its loop %d is not there", e.Loop)
	}
	return nil
}

func (c *checker) message(k, v []byte) error {
	m, err := decodeMessage(v)
	if err := sameKey(k, []byte(m.Key), err); err != nil {
		return err
	}
	recent, err := instantKey(m.Created, m.Key)
	if err := c.expect(bucketRecent, recent, err); err != nil {
		return err
	}
	if m.Status != loops.Queued {
		return nil
	}
	line, err := instantKey(m.NextAttempt, m.Key)
	return c.expect(bucketOutbox, line, err)
}

func (c *checker) sent(tx engine.Reader, k, v []byte) error {
	s, err := decodeSent(v)
	if err != nil {
		return err
	}
	key, err := sentKey(s)
	if err := sameKey(k, key, err); err != nil {
		return err
	}
	if tx.Get(bucketLoops, idKey(s.Loop)) == nil {
		return fmt.Errorf("its loop %d is not there", s.Loop)
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
