// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// maxRows is how many loops one page lists.
const maxRows = 50

// loopsPage lists the loops of the register.
type loopsPage struct {
	frame
	Query string
	Day   loops.Day
	Rows  []loopRow
	// More tells that further loops fit and are not shown.
	More bool
	Max  int
}

// loopRow is one loop in the list.
type loopRow struct {
	Tag     loops.Tag
	Machine string
	Loop    string // the loop's own name; empty where the machine has one
	Kind    loops.MachineKind
	Owner   string // empty for a donor unit
	Charge  string
	Next    *nextLine
	Status  string // why nothing is planned
}

func (s *server) pageLoops(w http.ResponseWriter, r *http.Request) error {
	p := loopsPage{
		frame: s.newFrame(r, "Loops"), Query: strings.TrimSpace(r.URL.Query().Get("q")),
		Day: loops.DayOf(s.Now(), s.Workshop.Settings().Zone), Max: maxRows,
	}
	p.Here = "loops"
	for loop, err := range s.Reader.Loops() {
		if err != nil {
			return err
		}
		row, err := s.loopRow(loop, p.Day)
		if err != nil {
			return err
		}
		if !row.fits(p.Query) {
			continue
		}
		if len(p.Rows) == maxRows {
			p.More = true
			break
		}
		p.Rows = append(p.Rows, row)
	}
	return s.render(w, http.StatusOK, "loops", p)
}

func (s *server) loopRow(loop loops.Loop, today loops.Day) (loopRow, error) {
	machine, err := s.Reader.Machine(loop.Machine)
	if err != nil {
		return loopRow{}, err
	}
	row := loopRow{
		Tag: loop.Tag, Machine: machine.Name, Loop: loop.Name, Kind: machine.Kind,
		Charge: chargeLine(loop.State.Charge), Status: planStatus(loop),
	}
	if machine.Owner != 0 {
		owner, err := s.Reader.Owner(machine.Owner)
		if err != nil {
			return loopRow{}, err
		}
		row.Owner = owner.Name
	}
	if tasks := workshop.NextTasks(loop.Plan); len(tasks) > 0 {
		row.Next = &nextLine{loop.Tag, machine.Name, tasks[0].Kind, tasks[0].Due, today.Sub(tasks[0].Due)}
	}
	return row, nil
}

// fits tells whether every word of the query is in the tag, the owner or the
// machine. A tag may be typed with blanks or hyphens.
func (r loopRow) fits(query string) bool {
	if tag, err := loops.ParseTag(query); err == nil && tag == r.Tag {
		return true
	}
	text := strings.ToLower(strings.Join([]string{string(r.Tag), r.Owner, r.Machine, r.Loop, string(r.Kind)}, "\n"))
	for word := range strings.FieldsSeq(strings.ToLower(query)) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return true
}

// planStatus says why a loop may have no task.
func planStatus(loop loops.Loop) string {
	state := loop.State
	switch {
	case !state.Retired.IsZero():
		return "retired on " + state.Retired.Long()
	case !state.Failed.IsZero():
		return "failed on " + state.Failed.Long() + ": " + string(state.Cause)
	case state.Charge == nil:
		return "empty: fill it"
	}
	return "nothing planned"
}
