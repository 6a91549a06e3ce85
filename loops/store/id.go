// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"crypto/rand"
	"encoding/hex"

	"fillmark/loops/store/engine"
)

type idV1 struct {
	ID string `json:"id"`
}

// ID is the register's own id, 32 hexadecimal digits: what tells its letters
// from those of another register. It is drawn when the register is made, or
// first opened for writing if an earlier version made it; until then it is
// empty. A copy of the file is the same register and has the same id. [Import]
// makes a register of its own.
func (s *Store) ID() string { return s.own }

// putID draws the id.
func putID(tx engine.Writer) error {
	var id [16]byte
	_, _ = rand.Read(id[:]) // it never fails
	return putMetaIn(tx, keyID, idV1{hex.EncodeToString(id[:])})
}

// ownID reads the id of what was opened, which gets one where it has none and may
// be written to.
func ownID(kept engine.Engine, opts Options) (string, error) {
	var own idV1
	read := func(tx engine.Reader) (err error) {
		own, err = metaIn[idV1](tx, keyID)
		return err
	}
	err := kept.View(read)
	if err != nil || own.ID != "" || opts.ReadOnly {
		return own.ID, err
	}
	err = kept.Update(func(tx engine.Writer) error {
		if err := read(tx); err != nil || own.ID != "" {
			return err // another process was faster
		}
		if err := putID(tx); err != nil {
			return err
		}
		return read(tx)
	})
	return own.ID, err
}
