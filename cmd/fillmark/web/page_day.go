// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"html/template"
	"net/http"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// mostDayCalls bounds the calls on the list of a day: nobody makes more.
const mostDayCalls = 100

// dayPage is what a day asks for beside the tasks that are due: what is
// promised back, what to bring, what on the bench is out of date.
type dayPage struct {
	frame
	Day  loops.Day
	List template.HTML
}

// dayList is the list of a day, the most pressing first.
type dayList struct {
	workshop.Morning
	Calls []schedule.Conversation
	More  int // calls that the list has no room for
}

// pageDay reads every machine once after a write, which the Due page does not.
func (s *server) pageDay(w http.ResponseWriter, r *http.Request) error {
	now := s.Now()
	p := dayPage{frame: s.newFrame(r, "Bench list"), Day: loops.DayOf(now, s.Workshop.Settings().Zone)}
	p.Here = "due"
	var err error
	p.List, err = s.part(&s.dayKept, "day", "day-list", now, func() (any, error) {
		m, err := s.Workshop.Morning(now)
		if err != nil {
			return nil, err
		}
		calls := schedule.Conversations(m.Call)
		show := min(len(calls), mostDayCalls)
		return dayList{m, calls[:show], len(calls) - show}, nil
	})
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "day", p)
}
