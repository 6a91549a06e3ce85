// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"html/template"
	"net/http"

	"fillmark/loops"
)

// mostKeptLoops bounds the list that a device keeps.
const mostKeptLoops = 1000

// registerPage lists what is in each loop, for a device that keeps the list for
// when there is no connection.
type registerPage struct {
	frame
	AsOf string
	List template.HTML
}

// registerList is what a device keeps.
type registerList struct {
	Rows []loopRow
	Most int // how many loops the list has room for, where there are more; else 0
}

func (s *server) pageRegister(w http.ResponseWriter, r *http.Request) error {
	p := registerPage{frame: s.newFrame(r, "Loops on record"), AsOf: s.asOf()}
	p.Here = "loops"
	var err error
	p.List, err = s.part(&s.registerKept, "register", "register-list", s.Now(), func() (any, error) {
		rows, more, err := s.keptLoops(mostKeptLoops)
		list := registerList{Rows: rows}
		if more {
			list.Most = mostKeptLoops
		}
		return list, err
	})
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "register", p)
}

// keptLoops are the first loops of the register that are not out of service.
func (s *server) keptLoops(most int) (rows []loopRow, more bool, err error) {
	today := loops.DayOf(s.Now(), s.Workshop.Settings().Zone)
	inService := func(yield func(loops.Loop, error) bool) {
		for loop, err := range s.Reader.Loops() {
			if (err != nil || loop.State.Retired.IsZero()) && !yield(loop, err) {
				return
			}
		}
	}
	for loop, err := range s.Workshop.Placed(inService) {
		if err != nil {
			return nil, false, err
		}
		if len(rows) == most {
			return rows, true, nil
		}
		rows = append(rows, rowOf(loop, today))
	}
	return rows, false, nil
}
