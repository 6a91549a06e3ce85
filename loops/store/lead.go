// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"sync/atomic"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

const keyLead = "lead"

type leadV1 struct {
	Holder string `json:"holder"`
	Number uint64 `json:"number"`
	Beat   uint64 `json:"beat"`
}

// Lead returns who leads of several daemons. The holder named goes on where that is
// who leads, and begins where nobody does, or where overdue is set and the record
// is as it was seen; else nothing is written.
func (s *Store) Lead(holder string, seen loops.Lead, overdue bool) (is loops.Lead, err error) {
	err = s.update(func(tx engine.Writer) error {
		if is, err = leadIn(tx); err != nil {
			return err
		}
		switch {
		case is.Holder == holder:
			is.Beat++
		case is.Holder == "" || overdue && is == seen:
			is = loops.Lead{Holder: holder, Number: is.Number + 1}
		default:
			return nil
		}
		return putLead(tx, is)
	})
	return is, leadError(err)
}

// Leader returns who leads of several daemons; zero where nobody ever did.
func (s *Store) Leader() (loops.Lead, error) {
	v, err := metaOf[leadV1](s, keyLead)
	return loops.Lead(v), err
}

// EndLead lets another daemon lead at once, where it is the holder's to say so.
func (s *Store) EndLead(holder string) error {
	return leadError(s.update(func(tx engine.Writer) error {
		is, err := leadIn(tx)
		if err != nil || is.Holder != holder {
			return err
		}
		is.Holder = ""
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

func leadIn(tx engine.Reader) (loops.Lead, error) {
	stored := tx.Get(bucketMeta, []byte(keyLead))
	if stored == nil {
		return loops.Lead{}, nil
	}
	v, err := decode[leadV1](recordV1, stored)
	return loops.Lead(v), err
}

func putLead(tx engine.Writer, is loops.Lead) error {
	v, err := encode(recordV1, leadV1(is))
	if err != nil {
		return err
	}
	return tx.Put(bucketMeta, []byte(keyLead), v)
}

func leadError(err error) error {
	if err != nil {
		err = fmt.Errorf("store: %s: %w", keyLead, err)
	}
	return err
}
