// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/loops/store/engine"
)

const keyBackups = "backups"

type backupsV1 struct {
	Made        time.Time `json:"made,omitzero"`
	Where       string    `json:"where,omitempty"`
	Drilled     time.Time `json:"drilled,omitzero"`
	Lines       int       `json:"lines,omitempty"`
	Second      time.Time `json:"second,omitzero"`
	Tried       time.Time `json:"tried,omitzero"`
	Fault       string    `json:"fault,omitempty"`
	DrillFault  string    `json:"drill_fault,omitempty"`
	SecondFault string    `json:"second_fault,omitempty"`
}

// Backups returns how the backups by schedule stand.
func (s *Store) Backups() (loops.Backups, error) {
	v, err := metaOf[backupsV1](s, keyBackups)
	return loops.Backups(v), err
}

// NoteBackups records how the backups stand, with the lines of the audit that
// tell what became of which, in one transaction.
func (s *Store) NoteBackups(b loops.Backups, lines ...loops.AuditLine) error {
	b.Made, b.Drilled, b.Second, b.Tried = b.Made.UTC(), b.Drilled.UTC(), b.Second.UTC(), b.Tried.UTC()
	v, err := encode(recordV1, backupsV1(b))
	if err == nil {
		err = s.update(func(tx engine.Writer) error {
			if err := tx.Put(bucketMeta, []byte(keyBackups), v); err != nil {
				return err
			}
			for _, line := range lines {
				text, err := encodeAudit(line)
				if err != nil {
					return err
				}
				if err := appendAudit(tx, text); err != nil {
					return err
				}
			}
			return nil
		})
	}
	if err != nil {
		return fmt.Errorf("store: backups: %w", err)
	}
	return nil
}
