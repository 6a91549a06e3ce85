// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"bytes"
	"fmt"
	"slices"

	"fillmark/loops/store/engine"
)

// keySame leads what several daemons on one register must have the same of.
const keySame = "same "

type sameV1 struct {
	Print string `json:"print"`
}

// Same tells whether a daemon has of what is named the same as the others on this
// register. Prints are of its own, the newest first; the first daemon puts down its
// newest, and so does one that has what is on record and a newer one before it. None
// at all is the same where nothing is on record.
func (s *Store) Same(what string, prints ...string) (same bool, err error) {
	key := []byte(keySame + what)
	err = s.update(func(tx engine.Writer) error {
		var on sameV1
		if stored := tx.Get(bucketMeta, key); stored != nil {
			if on, err = decode[sameV1](recordV1, stored); err != nil {
				return err
			}
		}
		same = on.Print == "" || slices.Contains(prints, on.Print)
		if !same || len(prints) == 0 || prints[0] == on.Print {
			return nil
		}
		v, err := encode(recordV1, sameV1{prints[0]})
		if err != nil {
			return err
		}
		return tx.Put(bucketMeta, key, v)
	})
	if err != nil {
		return false, fmt.Errorf("store: %s%s: %w", keySame, what, err)
	}
	return same, nil
}

// isSameKey tells that a key of meta holds a print.
func isSameKey(key []byte) bool { return bytes.HasPrefix(key, []byte(keySame)) }
