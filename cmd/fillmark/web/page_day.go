// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// dayPage is what a day asks for beside the tasks that are due: what is
// promised back, what to bring, what on the bench is out of date.
type dayPage struct {
	frame
	Day   loops.Day
	Calls []schedule.Conversation
	workshop.Morning
}

// pageDay reads every machine once, which the Due page does not.
func (s *server) pageDay(w http.ResponseWriter, r *http.Request) error {
	m, err := s.Workshop.Morning(s.Now())
	if err != nil {
		return err
	}
	p := dayPage{frame: s.newFrame(r, "Bench list"), Day: m.Day, Calls: schedule.Conversations(m.Call), Morning: m}
	p.Here = "due"
	return s.render(w, http.StatusOK, "day", p)
}
