// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// MarkBounced records that a message the transport had accepted came back, and
// why. It gives loops.ErrConflict for one that was not delivered.
func (s *Store) MarkBounced(key loops.MessageKey, at time.Time, f loops.Failure) error {
	return s.mark(key, marking{deliverer, at, "mail came back"}, func(m *loops.Message) error {
		err := expect(m, loops.Delivered)
		m.Status = loops.Refused
		failed(m, f)
		return err
	})
}

// Requeue puts a message that waits, was refused or has expired back, to be
// tried from the instant on with a fresh count of attempts and no end. It gives
// loops.ErrConflict for one that was delivered or dropped.
func (s *Store) Requeue(key loops.MessageKey, by string, at time.Time) error {
	return s.mark(key, marking{by, at, "mail tried again"}, func(m *loops.Message) error {
		err := expect(m, loops.Queued, loops.Held, loops.Refused, loops.Expired)
		m.Status, m.NextAttempt, m.Attempts, m.PointlessAfter, m.Blamed = loops.Queued, at, 0, time.Time{}, time.Time{}
		return err
	})
}

// TakeBack puts a message back that was refused, to be tried from next on, since that
// is held against the relay from the instant on; it helps no longer than before. It
// gives loops.ErrConflict for one that is not refused any more, or whose text was
// deleted.
func (s *Store) TakeBack(key loops.MessageKey, by string, at, next time.Time) error {
	return s.judged(key, loops.StoreRevision{}, marking{by, at, "mail tried again"}, func(tx engine.Writer, m *loops.Message) error {
		if tx.Get(bucketBodies, []byte(key)) == nil {
			return fmt.Errorf("message %s: its text was deleted: %w", key, loops.ErrConflict)
		}
		err := expect(m, loops.Refused)
		m.Status, m.NextAttempt, m.Attempts, m.Blamed = loops.Queued, next, 0, at
		return err
	})
}

// refusalsWindow bounds how many messages those below look at.
const refusalsWindow = 2000

// RefusedInARow counts the messages to the address that were refused since the
// last one that was delivered.
func (s *Store) RefusedInARow(address string) (int, error) {
	refused, seen := 0, 0
	for m, err := range s.Messages("") {
		if err != nil {
			return 0, err
		}
		if seen++; seen > refusalsWindow {
			break
		}
		if !strings.EqualFold(m.To, address) {
			continue
		}
		switch m.Status {
		case loops.Refused:
			refused++
		case loops.Delivered:
			return refused, nil
		}
	}
	return refused, nil
}

// RefusedByRelay lists the messages that the relay refused since it last took one,
// of the newest ones, without their text; those written last first. Our letters to
// ourselves are left out, what it was never offered, letters to owners that were
// erased, of which nobody knows any more where they went, and what was held against
// it before: that was found to be about the address.
func (s *Store) RefusedByRelay() ([]loops.Message, error) {
	var refused []loops.Message
	var took time.Time
	seen := 0
	for m, err := range s.Messages("") {
		if err != nil {
			return nil, err
		}
		if seen++; seen > refusalsWindow {
			break
		}
		switch {
		case m.Taken():
			if m.LastAttempt.After(took) {
				took = m.LastAttempt
			}
		case m.Status == loops.Refused && m.Purpose != loops.PurposeCanary && m.To != "" && m.Blamed.IsZero():
			refused = append(refused, m)
		}
	}
	return slices.DeleteFunc(refused, func(m loops.Message) bool { return !m.LastAttempt.After(took) }), nil
}

// TookSince tells whether the relay took a letter after the instant, of the newest
// ones, for anybody but the address. Our letters to ourselves do not count: they may
// go no further than the relay.
func (s *Store) TookSince(at time.Time, besides string) (bool, error) {
	seen := 0
	for m, err := range s.Messages("") {
		if seen++; err != nil || seen > refusalsWindow {
			return false, err
		}
		if m.Taken() && m.LastAttempt.After(at) && m.Purpose != loops.PurposeCanary && !strings.EqualFold(m.To, besides) {
			return true, nil
		}
	}
	return false, nil
}
