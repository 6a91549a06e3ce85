// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fillmark/loops"
	"fillmark/loops/store/engine"
)

// Backups returns how the backups by schedule stand.
func (s *Store) Backups() (loops.Backups, error) { return metaOf[loops.Backups](s, keyBackups) }

// NoteBackups records how the backups stand, with the lines of the audit that
// tell what became of which, in one transaction.
func (s *Store) NoteBackups(b loops.Backups, lines ...loops.AuditLine) error {
	b.Made, b.Drilled, b.Second, b.Tried = b.Made.UTC(), b.Drilled.UTC(), b.Second.UTC(), b.Tried.UTC()
	return s.write("store: "+keyBackups, func(tx engine.Writer) error {
		if err := putMetaIn(tx, keyBackups, b); err != nil {
			return err
		}
		for _, line := range lines {
			if err := audit(tx, line); err != nil {
				return err
			}
		}
		return nil
	})
}
