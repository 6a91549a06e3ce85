// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Revision tells states of the store apart: as long as it stays the same,
// nothing was written. It costs no reading of records.
func (s *Store) Revision() (loops.StoreRevision, error) {
	return read(s, "store", func(tx engine.Reader) (loops.StoreRevision, error) { return revisionOf(tx), nil })
}
