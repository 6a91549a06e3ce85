// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import "fillmark/loops"

// CalendarAnswer is a feed as calendar programs read it (RFC 5545).
type CalendarAnswer struct {
	Calendar string `json:"calendar"`
}

// calendar answers with the feed of an owner, or for 0 the workshop's own.
func (s *server) calendar(of loops.OwnerID) (CalendarAnswer, error) {
	var feed []byte
	var err error
	if of == 0 {
		feed, err = s.Workshop.TechnicianCalendar(s.Now().UTC())
	} else {
		feed, err = s.Workshop.OwnerCalendar(of)
	}
	return CalendarAnswer{string(feed)}, err
}
