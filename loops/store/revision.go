// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Revision tells states of the store apart: as long as it stays the same,
// nothing was written. It costs no reading of records.
func (s *Store) Revision() (loops.StoreRevision, error) {
	var r loops.StoreRevision
	err := s.view(func(tx engine.Reader) error {
		r = revisionOf(tx)
		return nil
	})
	if err != nil {
		return r, fmt.Errorf("store: %w", err)
	}
	return r, nil
}
