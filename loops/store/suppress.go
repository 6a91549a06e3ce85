// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"iter"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

type suppressionV1 struct {
	Address string    `json:"address"`
	Reason  string    `json:"reason"`
	Since   time.Time `json:"since"`
	Status  string    `json:"status,omitempty"`
}

func encodeSuppression(x loops.Suppression) ([]byte, error) {
	x.Since = x.Since.UTC()
	return encode(recordV1, suppressionV1(x))
}

func decodeSuppression(stored []byte) (loops.Suppression, error) {
	v, err := decode[suppressionV1](recordV1, stored)
	return loops.Suppression(v), err
}

// Suppress records that nothing is sent to the address any more, with an audit
// line that does not name it. Addresses that differ only in case are the same.
func (s *Store) Suppress(x loops.Suppression, by string) error {
	x.Address = strings.ToLower(x.Address)
	return s.suppress(x.Address, by, x.Since, "address suppressed", func(tx engine.Writer, key []byte) error {
		v, err := encodeSuppression(x)
		if err != nil {
			return err
		}
		return tx.Put(bucketSuppressed, key, v)
	})
}

// Unsuppress lets mail go to the address again. It gives loops.ErrNotFound
// where the address was not suppressed.
func (s *Store) Unsuppress(address, by string, at time.Time) error {
	return s.suppress(strings.ToLower(address), by, at, "address no longer suppressed", func(tx engine.Writer, key []byte) error {
		if tx.Get(bucketSuppressed, key) == nil {
			return fmt.Errorf("address %s: %w", address, loops.ErrNotFound)
		}
		return tx.Delete(bucketSuppressed, key)
	})
}

func (s *Store) suppress(address, by string, at time.Time, action string, change func(tx engine.Writer, key []byte) error) error {
	key, err := appendText(nil, address)
	if err != nil {
		return fmt.Errorf("store: suppress: %w", err)
	}
	line, err := encodeAudit(loops.AuditLine{At: at, By: by, Action: action, On: "an address"})
	if err != nil {
		return fmt.Errorf("store: suppress: %w", err)
	}
	err = s.update(func(tx engine.Writer) error {
		if err := change(tx, key); err != nil {
			return err
		}
		return appendAudit(tx, line)
	})
	if err != nil {
		return fmt.Errorf("store: suppress: %w", err)
	}
	return nil
}

// Suppression returns why nothing is sent to the address, or
// loops.ErrNotFound where mail may go.
func (s *Store) Suppression(address string) (loops.Suppression, error) {
	var x loops.Suppression
	err := s.view(func(tx engine.Reader) (err error) {
		x, err = get(tx, bucketSuppressed, []byte(strings.ToLower(address)), "address "+address, decodeSuppression)
		return err
	})
	if err != nil {
		return loops.Suppression{}, fmt.Errorf("store: %w", err)
	}
	return x, nil
}

// Suppressions yields every suppressed address in alphabetical order.
func (s *Store) Suppressions() iter.Seq2[loops.Suppression, error] {
	return scan(s, bucketSuppressed, false, func(_ engine.Reader, _, v []byte) (loops.Suppression, error) { return decodeSuppression(v) })
}
