// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"

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
			line, err := auditTable().decode(v)
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
		up, err1 := metaIn[loops.Uptime](tx, keyUptime)
		backups, err2 := metaIn[loops.Backups](tx, keyBackups)
		canary, err3 := metaIn[loops.Canary](tx, keyCanary)
		is.Uptime, is.Backups, is.Canary = up, backups, canary
		if err := errors.Join(err1, err2, err3); err != nil {
			return err
		}
		waiting, err1 := messageKeys(tx.Ascend(bucketOutbox, engine.Span{}), math.MaxInt)
		latest, err2 := messageKeys(tx.Descend(bucketRecent, engine.Span{}), loops.LatestMessages)
		if err := errors.Join(err1, err2); err != nil {
			return err
		}
		tx.Ahead(bucketMessages, slices.Concat(waiting, latest))
		is.Waiting, err1 = messagesIn(tx, waiting)
		is.Latest, err2 = messagesIn(tx, latest)
		return errors.Join(err1, err2)
	})
	if err != nil {
		return loops.Upkeep{}, fmt.Errorf("store: %w", err)
	}
	return is, nil
}

// messageKeys are those that the first lines of an index of messages lead to.
func messageKeys(lines iter.Seq2[[]byte, []byte], most int) (keys [][]byte, err error) {
	for k := range lines {
		_, key, err := decodeInstantKey(k)
		if err != nil {
			return nil, fmt.Errorf("outbox: %w", err)
		}
		if keys = append(keys, []byte(key)); len(keys) == most {
			break
		}
	}
	return keys, nil
}

func messagesIn(tx engine.Reader, keys [][]byte) (all []loops.Message, err error) {
	for _, key := range keys {
		m, err := messageTable().get(tx, key)
		if err != nil {
			return nil, err
		}
		all = append(all, m)
	}
	return all, nil
}
