// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Upkeep returns how the program's work stands, with so many lines of the audit
// looked at. Its cost grows with the queue alone.
func (s *Store) Upkeep(lines int) (is loops.Upkeep, err error) {
	err = s.view(func(tx engine.Reader) error {
		is = loops.Upkeep{}
		left := lines
		tx.Ahead(bucketMeta, [][]byte{[]byte(keyUptime), []byte(keyBackups), []byte(keyCanary)})
		tx.Ahead(bucketOutbox, nil, engine.Span{})
		for _, v := range tx.Descend(bucketAudit, engine.Span{}) {
			line, err := decodeAudit(v)
			if err != nil {
				return fmt.Errorf("audit: %w", err)
			}
			if line.At.After(is.Noted) {
				is.Noted = line.At
			}
			if left--; left <= 0 {
				break
			}
		}
		up, err1 := metaIn[uptimeV1](tx, keyUptime)
		backups, err2 := metaIn[backupsV1](tx, keyBackups)
		canary, err3 := metaIn[canaryV1](tx, keyCanary)
		is.Uptime, is.Backups, is.Canary = loops.Uptime(up), loops.Backups(backups), loops.Canary(canary)
		if err := errors.Join(err1, err2, err3); err != nil {
			return err
		}
		var keys [][]byte
		for k := range tx.Ascend(bucketOutbox, engine.Span{}) {
			_, key, err := decodeInstantKey(k)
			if err != nil {
				return fmt.Errorf("outbox: %w", err)
			}
			keys = append(keys, []byte(key))
		}
		tx.Ahead(bucketMessages, keys)
		for _, key := range keys {
			m, err := get(tx, bucketMessages, key, fmt.Sprintf("message %s", key), decodeMessage)
			if err != nil {
				return err
			}
			is.Waiting = append(is.Waiting, m)
		}
		return nil
	})
	if err != nil {
		return loops.Upkeep{}, fmt.Errorf("store: %w", err)
	}
	return is, nil
}

// metaIn reads a record of meta, zero where there is none.
func metaIn[T any](tx engine.Reader, key string) (v T, err error) {
	if stored := tx.Get(bucketMeta, []byte(key)); stored != nil {
		if v, err = decode[T](recordV1, stored); err != nil {
			err = fmt.Errorf("%s: %w", key, err)
		}
	}
	return v, err
}
