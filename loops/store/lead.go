// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"sync/atomic"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

type leadV1 struct {
	Holder string `json:"holder"`
	Number uint64 `json:"number"`
}

// Lead returns who leads of several daemons. The holder named goes on where that is
// who leads, and begins where nobody does, or where overdue is set and the record
// is as it was seen; else nothing is written.
func (s *Store) Lead(holder string, seen loops.Lead, overdue bool) (is loops.Lead, err error) {
	err = s.kept.Update(func(tx engine.Writer) error {
		if is, err = leadIn(tx); err != nil {
			return err
		}
		switch {
		case is.Holder == holder:
		case is.Holder == "" || overdue && is == seen:
			is.Holder = holder
			is.Number++
		default:
			return nil
		}
		is.Beat++
		return putLead(tx, is)
	})
	return is, leadError(err)
}

// Leader returns who leads of several daemons; zero where nobody ever did.
func (s *Store) Leader() (loops.Lead, error) { return read(s, "store: "+keyLead, leadIn) }

// EndLead lets another daemon lead at once, where it is the holder's to say so.
func (s *Store) EndLead(holder string) error {
	return leadError(s.kept.Update(func(tx engine.Writer) error {
		is, err := leadIn(tx)
		if err != nil || is.Holder != holder {
			return err
		}
		is.Holder = ""
		is.Beat++
		return putLead(tx, is)
	}))
}

// Led is the same store, for what only the daemon that leads may write: once
// another leads than the one with the number, a write changes nothing and gives
// loops.ErrOvertaken.
func (s *Store) Led(number *atomic.Uint64) *Store {
	led := *s
	led.lead = number
	return &led
}

// stillLeads asks the record, in the transaction that is to be written.
func (s *Store) stillLeads(tx engine.Reader) error {
	if s.lead == nil {
		return nil
	}
	is, err := leadIn(tx)
	if number := s.lead.Load(); err == nil && is.Number != number {
		err = fmt.Errorf("%w: %s, as number %d after %d", loops.ErrOvertaken, is.Holder, is.Number, number)
	}
	return err
}

// leadIn reads the record. The beats are the counter of the bucket, which comes
// without being asked for.
func leadIn(tx engine.Reader) (loops.Lead, error) {
	v, err := metaIn[leadV1](tx, keyLead)
	return loops.Lead{Holder: v.Holder, Number: v.Number, Beat: tx.Sequence(bucketMeta)}, err
}

// putLead writes the record, with one beat more each time: [revisionOf] takes beats
// off the count of writes, so that no letter waits, and no page is read again, for one.
func putLead(tx engine.Writer, is loops.Lead) error {
	return errors.Join(tx.SetSequence(bucketMeta, is.Beat), putMetaIn(tx, keyLead, leadV1{is.Holder, is.Number}))
}

func leadError(err error) error {
	if err != nil {
		err = fmt.Errorf("store: %s: %w", keyLead, err)
	}
	return err
}
