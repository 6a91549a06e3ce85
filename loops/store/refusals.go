// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"strings"
	"time"

	"fillmark/loops"
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
		m.Status, m.NextAttempt, m.Attempts, m.PointlessAfter = loops.Queued, at, 0, time.Time{}
		return err
	})
}

// refusalsWindow bounds how many messages RefusedInARow looks at.
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
