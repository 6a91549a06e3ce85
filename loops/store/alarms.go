// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import "fillmark/loops"

// Alarms returns what is on record of alarms; the zero value where nothing is.
func (s *Store) Alarms() (loops.AlarmBook, error) { return metaOf[loops.AlarmBook](s, keyAlarms) }

// PutAlarms puts the book in the place of the one on record.
func (s *Store) PutAlarms(book loops.AlarmBook) error { return putMeta(s, keyAlarms, book) }

// Canary returns what is on record of the letters to ourselves.
func (s *Store) Canary() (loops.Canary, error) { return metaOf[loops.Canary](s, keyCanary) }

// PutCanary puts it on record.
func (s *Store) PutCanary(c loops.Canary) error { return putMeta(s, keyCanary, c) }
