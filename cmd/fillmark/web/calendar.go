// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strconv"

	"fillmark/loops"
)

// CalendarAnswer is a feed as calendar programs read it (RFC 5545).
type CalendarAnswer struct {
	Calendar string `json:"calendar"`
}

// apiCalendar answers with the feed of the owner that the query names, or the
// workshop's own.
func (s *server) apiCalendar(r *http.Request) (any, error) {
	number := r.URL.Query().Get("owner")
	if number == "" {
		feed, err := s.Workshop.TechnicianCalendar(s.stamp(r).At)
		return CalendarAnswer{string(feed)}, err
	}
	id, err := strconv.ParseUint(number, 10, 64)
	if err != nil {
		return nil, &loops.InvalidError{Field: "owner", Value: number, Reason: "the number of an owner"}
	}
	feed, err := s.Workshop.OwnerCalendar(loops.OwnerID(id))
	return CalendarAnswer{string(feed)}, err
}
