// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package store

import (
	"time"

	"fillmark/loops"
)

const keyUptime = "uptime"

type uptimeV1 struct {
	Swept   time.Time `json:"swept"`
	OffFrom time.Time `json:"off_from,omitzero"`
	OffTo   time.Time `json:"off_to,omitzero"`
}

// Uptime returns when the program last looked for what is due; the zero value
// before the first time.
func (s *Store) Uptime() (loops.Uptime, error) {
	v, err := metaOf[uptimeV1](s, keyUptime)
	return loops.Uptime(v), err
}

// NoteUptime records that the program looked for what is due at the instant. It
// writes once an hour, so that looking often costs nothing.
func (s *Store) NoteUptime(at time.Time) error {
	at = at.UTC()
	is, err := s.Uptime()
	if err != nil || at.Sub(is.Swept).Abs() < time.Hour {
		return err
	}
	return putMeta(s, keyUptime, uptimeV1(is.After(at)))
}
