// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"time"

	bolt "go.etcd.io/bbolt"

	"fillmark/loops"
)

const keyUptime = "uptime"

type uptimeV1 struct {
	Swept   time.Time `json:"swept"`
	OffFrom time.Time `json:"off_from,omitzero"`
	OffTo   time.Time `json:"off_to,omitzero"`
}

// Uptime returns when the program last looked for what is due; the zero value
// before the first time.
func (s *Store) Uptime() (loops.Uptime, error) {
	var v uptimeV1
	err := s.view(func(tx *bolt.Tx) (err error) {
		if stored := bucket(tx, bucketMeta).Get([]byte(keyUptime)); stored != nil {
			v, err = decode[uptimeV1](recordV1, stored)
		}
		return err
	})
	if err != nil {
		return loops.Uptime{}, fmt.Errorf("store: uptime: %w", err)
	}
	return loops.Uptime(v), nil
}

// NoteUptime records that the program looked for what is due at the instant. It
// writes once an hour, so that looking often costs nothing.
func (s *Store) NoteUptime(at time.Time) error {
	at = at.UTC()
	is, err := s.Uptime()
	if err != nil || at.Sub(is.Swept).Abs() < time.Hour {
		return err
	}
	v, err := encode(recordV1, uptimeV1(is.After(at)))
	if err == nil {
		err = s.update(func(tx *bolt.Tx) error { return bucket(tx, bucketMeta).Put([]byte(keyUptime), v) })
	}
	if err != nil {
		return fmt.Errorf("store: uptime: %w", err)
	}
	return nil
}
