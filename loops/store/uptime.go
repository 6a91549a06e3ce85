// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"time"

	"fillmark/loops"
)

// Uptime returns when the program last looked for what is due; the zero value
// before the first time.
func (s *Store) Uptime() (loops.Uptime, error) { return metaOf[loops.Uptime](s, keyUptime) }

// NoteUptime records that the program looked for what is due at the instant. It
// writes once an hour, so that looking often costs nothing.
func (s *Store) NoteUptime(at time.Time) error {
	at = at.UTC()
	is, err := s.Uptime()
	if err != nil || at.Sub(is.Swept).Abs() < time.Hour {
		return err
	}
	return putMeta(s, keyUptime, is.After(at))
}
