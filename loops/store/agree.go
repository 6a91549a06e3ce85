// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"slices"

	"fillmark/loops/store/engine"
)

type sameV1 struct {
	Print string `json:"print"`
}

// Same tells whether a daemon has of what is named the same as the others on this
// register. Prints are of its own, the newest first; the first daemon puts down its
// newest, and so does one that has what is on record and a newer one before it. None
// at all is the same where nothing is on record.
func (s *Store) Same(what string, prints ...string) (same bool, err error) {
	key := keySame + what
	err = s.write("store: "+key, func(tx engine.Writer) error {
		on, err := metaIn[sameV1](tx, key)
		if err != nil {
			return err
		}
		same = on.Print == "" || slices.Contains(prints, on.Print)
		if !same || len(prints) == 0 || prints[0] == on.Print {
			return nil
		}
		return putMetaIn(tx, key, sameV1{prints[0]})
	})
	return same && err == nil, err
}
