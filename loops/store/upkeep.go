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
func (s *Store) Upkeep(lines int) (loops.Upkeep, error) {
	return read(s, "store", func(tx engine.Reader) (is loops.Upkeep, err error) {
		left := lines
		tx.Ahead(bucketMeta, [][]byte{[]byte(keyUptime), []byte(keyBackups), []byte(keyCanary)})
		tx.Ahead(bucketOutbox, nil, engine.Span{})
		for _, v := range tx.Descend(bucketAudit, engine.Span{}) {
			line, err := auditTable().decode(v)
			if err != nil {
				return is, fmt.Errorf("audit: %w", err)
			}
			if line.At.After(is.Noted) {
				is.Noted = line.At
			}
			if left--; left <= 0 {
				break
			}
		}
		var err1, err2, err3 error
		is.Uptime, err1 = metaIn[loops.Uptime](tx, keyUptime)
		is.Backups, err2 = metaIn[loops.Backups](tx, keyBackups)
		is.Canary, err3 = metaIn[loops.Canary](tx, keyCanary)
		if err := errors.Join(err1, err2, err3); err != nil {
			return is, err
		}
		waiting, err1 := messageKeys(bucketOutbox, tx.Ascend(bucketOutbox, engine.Span{}), math.MaxInt)
		latest, err2 := messageKeys(bucketRecent, tx.Descend(bucketRecent, engine.Span{}), loops.LatestMessages)
		if err := errors.Join(err1, err2); err != nil {
			return is, err
		}
		tx.Ahead(bucketMessages, slices.Concat(waiting, latest))
		is.Waiting, err1 = messagesIn(tx, waiting)
		is.Latest, err2 = messagesIn(tx, latest)
		return is, errors.Join(err1, err2)
	})
}

// messageKeys are those that the first lines of an index of messages lead to.
func messageKeys(index string, lines iter.Seq2[[]byte, []byte], most int) (keys [][]byte, err error) {
	for k := range lines {
		_, key, err := decodeInstantKey(k)
		if err != nil {
			return nil, fmt.Errorf("bucket %s: %w", index, err)
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
