// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"slices"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Message returns a message with its text, or loops.ErrNotFound. Raw is nil
// where the text was deleted.
func (s *Store) Message(key loops.MessageKey) (loops.Message, error) {
	return read(s, "store", func(tx engine.Reader) (loops.Message, error) { return wholeMessage(tx, key) })
}

// MessageHead returns a message without its text, or loops.ErrNotFound.
func (s *Store) MessageHead(key loops.MessageKey) (loops.Message, error) {
	return messageTable().read(s, []byte(key))
}

// wholeMessage joins a message and its text.
func wholeMessage(tx engine.Reader, key loops.MessageKey) (loops.Message, error) {
	m, err := messageTable().get(tx, []byte(key))
	if err != nil {
		return m, err
	}
	body, err := bodyTable().get(tx, []byte(key))
	if errors.Is(err, loops.ErrNotFound) {
		err = nil
	}
	m.Raw = body.Raw
	return m, err
}

// Messages yields the messages of a status, or all where it is empty, those
// created last first. Raw is left out: [Store.Message] reads it.
func (s *Store) Messages(status loops.MessageStatus) iter.Seq2[loops.Message, error] {
	all := scanMessages(s, bucketRecent, true)
	return func(yield func(loops.Message, error) bool) {
		for m, err := range all {
			if err == nil && status != "" && m.Status != status {
				continue
			}
			if !yield(m, err) {
				return
			}
		}
	}
}

// MessagesTo lists the messages whose keys are of the owner and of the day or a
// later one, by day, without their text. Its cost grows with them alone.
func (s *Store) MessagesTo(owner loops.OwnerID, since loops.Day) ([]loops.Message, error) {
	span := engine.Prefix(fmt.Appendf(nil, "%d/", owner))
	span.From = fmt.Appendf(nil, "%d/%s", owner, since)
	return read(s, "store", func(tx engine.Reader) ([]loops.Message, error) { return messageTable().in(tx, span) })
}

// NextQueued returns at most limit queued messages whose next attempt is not
// after now, the longest waiting first, with their text.
func (s *Store) NextQueued(now time.Time, limit int) ([]loops.Message, error) {
	return read(s, "store", func(tx engine.Reader) (list []loops.Message, err error) {
		var keys []loops.MessageKey
		for k := range tx.Ascend(bucketOutbox, engine.Span{}) {
			at, key, err := decodeInstantKey(k)
			if err != nil {
				return nil, fmt.Errorf("outbox: %w", err)
			}
			if at.After(now) || len(keys) == limit {
				break
			}
			keys = append(keys, key)
		}
		if err := lookAhead(tx, keys, bucketMessages, bucketBodies); err != nil {
			return nil, err
		}
		for _, key := range keys {
			m, err := wholeMessage(tx, key)
			if err != nil {
				return nil, err
			}
			// The key holds whole seconds, the record the instant itself.
			if !m.NextAttempt.After(now) {
				list = append(list, m)
			}
		}
		return list, nil
	})
}

// Waiting yields the queued messages, those tried next first, without their
// text. Its cost grows with the queue alone.
func (s *Store) Waiting() iter.Seq2[loops.Message, error] {
	return scanMessages(s, bucketOutbox, false)
}

// MarkAttempts records, before anything of the messages is sent, that an attempt
// at each begins at the instant and when the next one would be, so that a kill
// in between costs at most one extra copy of each and never a message. Text,
// address, topics and note become those given, and stay until the outcome is on
// record. It returns the state of the register that this leaves behind.
//
// Where seen is set and anything was written since, it gives loops.ErrConflict
// and the messages are to be judged again. Where one is not as it stands, since
// another daemon took it or somebody held it, it gives loops.ErrRepeated too:
// whoever marks first has the message until Next. The claim by which the outcome
// is then put down is the Write of the state that it returns; no other attempt
// of a message has that number, unless the file was compacted in between. What
// arrived before is recorded in the same transaction, as [Store.MarkDelivered] does.
func (s *Store) MarkAttempts(all []loops.Attempt, seen loops.StoreRevision, at time.Time, arrived ...loops.Arrival) (left loops.StoreRevision, err error) {
	err = s.write("store", func(tx engine.Writer) error {
		if err := asSeen(tx, seen); err != nil {
			return err
		}
		if err := markDelivered(tx, at, arrived); err != nil {
			return err
		}
		claim := revisionOf(tx).Write + 1 // this transaction
		keys := make([]loops.MessageKey, len(all))
		for i, a := range all {
			keys[i] = a.Key
		}
		if err := lookAhead(tx, keys, bucketMessages, bucketBodies); err != nil {
			return err
		}
		for _, a := range all {
			err := moveOn(tx, a.Key, marking{}, func(is *loops.Message) error {
				if is.Status != loops.Queued || is.Attempts != a.Attempts || !is.NextAttempt.Equal(a.NextAttempt) {
					return taken(a.Key)
				}
				if err := claimed(is, a.Claim); err != nil {
					return err
				}
				*is = rewritten(*is, a.Message)
				is.Claim = claim
				is.Attempts++
				is.LastAttempt, is.NextAttempt = at, a.Next
				is.Unsure, is.Signature = true, a.Signature
				return putBody(tx, a.Message)
			})
			if err != nil {
				return err
			}
		}
		left = revisionOf(tx)
		left.Write++ // by this transaction
		return nil
	})
	return left, err
}

// claimed gives loops.ErrRepeated and loops.ErrConflict where an attempt at the
// message began since it was claimed so: whoever stood still meanwhile says
// nothing about it any more.
func claimed(is *loops.Message, claim uint64) error {
	if is.Claim != claim {
		return taken(is.Key)
	}
	return nil
}

func taken(key loops.MessageKey) error {
	return fmt.Errorf("message %s: somebody else took it since it was read: %w (%w)", key, loops.ErrRepeated, loops.ErrConflict)
}

// MarkNotBegun puts messages back as they stood before the attempts of the claim,
// of which nothing left. One that another daemon has taken since stays as it is; one that
// was erased meanwhile is passed over.
func (s *Store) MarkNotBegun(claim uint64, all []loops.Message) error {
	return s.write("store", func(tx engine.Writer) error {
		for _, m := range all {
			err := moveOn(tx, m.Key, marking{}, func(is *loops.Message) error {
				if is.Claim != claim {
					return nil
				}
				is.Claim, is.Attempts, is.LastAttempt, is.NextAttempt = m.Claim, m.Attempts, m.LastAttempt, m.NextAttempt
				is.Unsure, is.Signature = m.Unsure, m.Signature
				return nil
			})
			if err != nil && !errors.Is(err, loops.ErrNotFound) {
				return err
			}
		}
		return nil
	})
}

// rewritten is the message with the words of another.
func rewritten(is, m loops.Message) loops.Message {
	is.To, is.Subject, is.About, is.Dated, is.Note, is.PointlessAfter = m.To, m.Subject, m.About, m.Dated, m.Note, m.PointlessAfter
	return is
}

// putBody writes the text of a message where it has changed.
func putBody(tx engine.Writer, m loops.Message) error {
	v, err := encodeV1(bodyV1{m.Key, m.Raw})
	if err != nil || bytes.Equal(v, tx.Get(bucketBodies, []byte(m.Key))) {
		return err
	}
	return tx.Put(bucketBodies, []byte(m.Key), v)
}

// MarkWithdrawn records that the message is not sent since it is not true any
// more, or not allowed, and why. Seen is as for [Store.MarkAttempts]. Instead,
// where it is given, is put into the outbox in the same transaction.
func (s *Store) MarkWithdrawn(key loops.MessageKey, seen loops.StoreRevision, at time.Time, why string, instead *loops.Message) error {
	var more *encodedChange
	if instead != nil {
		var err error
		if more, err = encodeChange(loops.Change{At: at, By: deliverer, Action: "mail written again", Messages: []loops.Message{*instead}}); err != nil {
			return fmt.Errorf("store: %w", err)
		}
	}
	return s.judged(key, seen, marking{deliverer, at, "mail withdrawn"}, func(tx engine.Writer, m *loops.Message) error {
		if err := expect(m, loops.Queued); err != nil {
			return err
		}
		m.Status, m.Note, m.Unsure, m.Signature = loops.Withdrawn, why, false, nil
		if more == nil {
			return nil
		}
		return more.writeMessages(tx)
	})
}

// MarkDeferred records that an attempt failed for now, how many there have
// been and when the next one is. A queued message stays queued, one that was
// held or dropped meanwhile stays as it is.
//
// Claim, here and below, is what the message was taken with: where another attempt
// began since, nothing is put down and the error is loops.ErrRepeated.
func (s *Store) MarkDeferred(key loops.MessageKey, claim uint64, next time.Time, attempts int, f loops.Failure) error {
	return s.mark(key, marking{}, func(m *loops.Message) error {
		m.NextAttempt, m.Attempts = next, attempts
		failed(m, f)
		return ended(m, claim)
	})
}

// failed puts down how an attempt ended.
func failed(m *loops.Message, f loops.Failure) {
	m.LastError, m.Failure = f.Reason, f.Status
	if f.Lost {
		m.Lost++
	}
	if !f.Blamed.IsZero() {
		m.Blamed = f.Blamed
	}
	if m.Unsure = f.Unsure; !m.Unsure {
		m.Signature = nil
	}
}

// MarkDelivered records that the transport accepted the messages; one that is on
// record so already stays so.
func (s *Store) MarkDelivered(at time.Time, claim uint64, keys ...loops.MessageKey) error {
	arrived := make([]loops.Arrival, len(keys))
	for i, key := range keys {
		arrived[i] = loops.Arrival{Key: key, Claim: claim}
	}
	return s.write("store", func(tx engine.Writer) error { return markDelivered(tx, at, arrived) })
}

// errOnRecord tells that a message stands as it is to stand.
var errOnRecord = errors.New("on record so already")

func markDelivered(tx engine.Writer, at time.Time, arrived []loops.Arrival) error {
	keys := make([]loops.MessageKey, len(arrived))
	for i, a := range arrived {
		keys[i] = a.Key
	}
	if err := lookAhead(tx, keys, bucketMessages); err != nil {
		return err
	}
	for _, a := range arrived {
		err := moveOn(tx, a.Key, marking{deliverer, at, "mail delivered"}, func(m *loops.Message) error {
			if m.Status == loops.Delivered {
				return errOnRecord
			}
			err := ended(m, a.Claim)
			m.Status = loops.Delivered
			failed(m, loops.Failure{})
			return err
		})
		if err != nil && !errors.Is(err, errOnRecord) {
			return err
		}
	}
	return nil
}

// MarkRefused records that the message was refused for good, and why.
func (s *Store) MarkRefused(key loops.MessageKey, claim uint64, at time.Time, f loops.Failure) error {
	return s.mark(key, marking{deliverer, at, "mail refused"}, func(m *loops.Message) error {
		err := ended(m, claim)
		m.Status = loops.Refused
		failed(m, f)
		return err
	})
}

// MarkHeld records that the message is kept back until a person releases it, and
// why.
func (s *Store) MarkHeld(key loops.MessageKey, claim uint64, at time.Time, f loops.Failure) error {
	return s.mark(key, marking{deliverer, at, "mail held"}, func(m *loops.Message) error {
		err := ended(m, claim)
		if m.Status == loops.Queued {
			m.Status = loops.Held
		}
		failed(m, f)
		return err
	})
}

// MarkExpired records that the message is given up, and why: delivering it
// would no longer help, or was tried often enough.
func (s *Store) MarkExpired(key loops.MessageKey, claim uint64, at time.Time, reason string) error {
	return s.mark(key, marking{deliverer, at, "mail expired"}, func(m *loops.Message) error {
		err := ended(m, claim)
		m.Status, m.LastError, m.Unsure, m.Signature = loops.Expired, reason, false, nil
		return err
	})
}

// Hold takes a queued message out of the outbox until [Store.Release].
func (s *Store) Hold(key loops.MessageKey, by string, at time.Time) error {
	return s.mark(key, marking{by, at, "mail held"}, func(m *loops.Message) error {
		err := expect(m, loops.Queued)
		m.Status = loops.Held
		return err
	})
}

// Release puts a held message back, to be tried from the instant on.
func (s *Store) Release(key loops.MessageKey, by string, at time.Time) error {
	return s.mark(key, marking{by, at, "mail released"}, func(m *loops.Message) error {
		err := expect(m, loops.Held)
		m.Status, m.NextAttempt, m.Lost = loops.Queued, at, 0
		return err
	})
}

// Drop gives a queued or held message up.
func (s *Store) Drop(key loops.MessageKey, by string, at time.Time) error {
	return s.mark(key, marking{by, at, "mail dropped"}, func(m *loops.Message) error {
		err := expect(m, loops.Queued, loops.Held)
		m.Status = loops.Dropped
		return err
	})
}

// deliverer is who the audit names for what happens to mail by itself.
const deliverer = "deliverer"

// outcomes are the statuses from which an attempt can end: a technician may
// have held or dropped the message while it was under way.
func outcomes() []loops.MessageStatus {
	return []loops.MessageStatus{loops.Queued, loops.Held, loops.Dropped}
}

// ended tells why the outcome of an attempt cannot be put down.
func ended(m *loops.Message, claim uint64) error {
	if m.To == "" { // erased meanwhile: nothing of it is put down again
		return taken(m.Key)
	}
	if err := claimed(m, claim); err != nil {
		return err
	}
	return expect(m, outcomes()...)
}

// expect gives loops.ErrConflict for a message whose status is none of those
// that can be left this way.
func expect(m *loops.Message, allowed ...loops.MessageStatus) error {
	if slices.Contains(allowed, m.Status) {
		return nil
	}
	return fmt.Errorf("message %s is %s: %w", m.Key, m.Status, loops.ErrConflict)
}

// marking is what the audit says of a message that moved on; no action is no
// line.
type marking struct {
	by     string
	at     time.Time
	action string
}

// mark moves one message on in a transaction of its own.
func (s *Store) mark(key loops.MessageKey, line marking, change func(*loops.Message) error) error {
	return s.judged(key, loops.StoreRevision{}, line, func(_ engine.Writer, m *loops.Message) error { return change(m) })
}

// judged moves one message on in a transaction of its own. Where seen is set it
// gives loops.ErrConflict if anything was written since.
func (s *Store) judged(key loops.MessageKey, seen loops.StoreRevision, line marking, change func(engine.Writer, *loops.Message) error) error {
	return s.write("store", func(tx engine.Writer) error {
		if err := asSeen(tx, seen); err != nil {
			return err
		}
		return moveOn(tx, key, line, func(m *loops.Message) error { return change(tx, m) })
	})
}

// asSeen gives loops.ErrConflict where another state was seen than is found.
func asSeen(tx engine.Writer, seen loops.StoreRevision) error {
	if seen != (loops.StoreRevision{}) && seen != revisionOf(tx) {
		return fmt.Errorf("written since it was judged: %w", loops.ErrConflict)
	}
	return nil
}

// moveOn moves one message on, with its outbox line, the marks of what it settles
// and a line of the audit.
func moveOn(tx engine.Writer, key loops.MessageKey, line marking, change func(*loops.Message) error) error {
	was, err := messageTable().get(tx, []byte(key))
	if err != nil {
		return err
	}
	m := was
	if err := change(&m); err != nil {
		return err
	}
	if err := messageTable().replace(tx, &was, m); err != nil {
		return err
	}
	if err := putMarks(tx, m); err != nil || line.action == "" {
		return err
	}
	return audit(tx, loops.AuditLine{At: line.at, By: line.by, Action: line.action, On: fmt.Sprintf("message %s", key)})
}

// putMarks writes the marks of a message that is settled.
func putMarks(tx engine.Writer, m loops.Message) error {
	if !m.Status.Settled() {
		return nil
	}
	for _, mark := range m.Marks() {
		if err := sentTable().replace(tx, nil, mark); err != nil {
			return err
		}
	}
	return nil
}

// DeleteBodies deletes the texts of messages created before the instant that
// are neither queued nor held, and returns how many. What they were, to whom
// and how they ended stays on record.
func (s *Store) DeleteBodies(before time.Time, by string, at time.Time) (int, error) {
	deleted := 0
	err := s.write("store: delete mail texts", func(tx engine.Writer) error {
		var keys [][]byte
		for k := range tx.Ascend(bucketRecent, engine.Span{}) {
			created, key, err := decodeInstantKey(k)
			if err != nil {
				return fmt.Errorf("recent: %w", err)
			}
			if created.After(before) {
				break
			}
			if tx.Get(bucketBodies, []byte(key)) == nil {
				continue
			}
			m, err := messageTable().get(tx, []byte(key))
			if err != nil {
				return err
			}
			if m.Created.Before(before) && m.Status != loops.Queued && m.Status != loops.Held {
				keys = append(keys, []byte(key))
			}
		}
		if deleted = len(keys); deleted == 0 {
			return nil
		}
		for _, key := range keys {
			if err := tx.Delete(bucketBodies, key); err != nil {
				return err
			}
		}
		return audit(tx, loops.AuditLine{At: at, By: by, Action: "delete old mail texts", On: fmt.Sprintf("%d messages", deleted)})
	})
	if err != nil {
		return 0, err
	}
	return deleted, nil
}
