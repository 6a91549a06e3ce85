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

func suppressionTable() table[loops.Suppression] {
	return table[loops.Suppression]{
		kind: "suppressed", bucket: bucketSuppressed, exported: true, decode: decodeSuppression,
		encode: func(x loops.Suppression) ([]byte, error) {
			x.Since = x.Since.UTC()
			return encodeV1(x)
		},
		key: func(x loops.Suppression) ([]byte, error) { return keyOfText(x.Address) },
	}
}

func decodeSuppression(stored []byte) (loops.Suppression, error) {
	return decodeV1[loops.Suppression](stored)
}

// Suppress records that nothing is sent to the address any more, with an audit
// line that does not name it. Addresses that differ only in case are the same.
func (s *Store) Suppress(x loops.Suppression, by string) error {
	x.Address = strings.ToLower(x.Address)
	return s.suppress(by, x.Since, "address suppressed", func(tx engine.Writer) error { return suppressionTable().replace(tx, nil, x) })
}

// Unsuppress lets mail go to the address again. It gives loops.ErrNotFound
// where the address was not suppressed.
func (s *Store) Unsuppress(address, by string, at time.Time) error {
	key := []byte(strings.ToLower(address))
	return s.suppress(by, at, "address no longer suppressed", func(tx engine.Writer) error {
		if tx.Get(bucketSuppressed, key) == nil {
			return fmt.Errorf("address %s: %w", address, loops.ErrNotFound)
		}
		return tx.Delete(bucketSuppressed, key)
	})
}

func (s *Store) suppress(by string, at time.Time, action string, change func(engine.Writer) error) error {
	return s.write("store: suppress", func(tx engine.Writer) error {
		if err := change(tx); err != nil {
			return err
		}
		return audit(tx, loops.AuditLine{At: at, By: by, Action: action, On: "an address"})
	})
}

// Suppression returns why nothing is sent to the address, or
// loops.ErrNotFound where mail may go.
func (s *Store) Suppression(address string) (loops.Suppression, error) {
	return suppressionTable().readAs(s, strings.ToLower(address), "address "+address)
}

// Suppressions yields every suppressed address in alphabetical order.
func (s *Store) Suppressions() iter.Seq2[loops.Suppression, error] {
	return suppressionTable().all(s)
}
