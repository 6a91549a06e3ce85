// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// loopsPage lists the loops of the register.
type loopsPage struct {
	frame
	Form  *form
	Query string
	Day   loops.Day
	Rows  []loopRow
	Pager pager
	// Narrowed tells that more than words narrow the list.
	Narrowed bool
	Fluids   []choice
	Metals   []choice
	Places   []choice
	Orders   []choice
}

// loopRow is one loop in the list.
type loopRow struct {
	Tag     loops.Tag
	Machine string
	Loop    string // the loop's own name; empty where the machine has one
	Kind    loops.MachineKind
	Owner   string // empty for a donor unit
	email   string // of the owner, to be found by, as the telephone is
	phone   string
	Charge  string
	Next    *nextLine
	Status  string // why nothing is planned
}

func (s *server) pageLoops(w http.ResponseWriter, r *http.Request) error {
	f := newForm(r.URL.Query())
	p := loopsPage{
		frame: s.newFrame(r, "Loops"), Form: f, Query: f.text("q"), Day: loops.DayOf(s.Now(), s.Workshop.Settings().Zone),
		Fluids: fluidChoices("any"), Metals: choicesOf("any", chemistry.Metals()), Places: choicesOf("anywhere", workshop.LoopPlaces()),
		Orders: choicesOf("", workshop.LoopOrders()),
	}
	p.Here = "loops"
	// A tag leads straight to its loop; who is still typing is shown it first.
	if tag, err := loops.ParseTag(p.Query); err == nil && r.Header.Get("Sec-Fetch-Dest") != "empty" {
		if _, err := s.Workshop.File(tag); err == nil {
			http.Redirect(w, r, "/loops/"+string(tag), http.StatusFound)
			return nil
		}
	}
	query, narrowed, err := loopQuery(f)
	if err != nil {
		return err
	}
	p.Narrowed = narrowed
	if narrowed {
		err = s.listNarrowed(&p, query, r.URL.Query())
	} else {
		err = s.listAll(&p, r.URL.Query())
	}
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "loops", p)
}

// loopQuery reads what narrows the list; narrowed is false where nothing does.
func loopQuery(f *form) (q workshop.LoopQuery, narrowed bool, err error) {
	q = workshop.LoopQuery{
		Fluid: chemistry.Fluid(f.text("fluid")), Metal: chemistry.Metal(f.text("metal")), Lot: f.text("lot"),
		Where: workshop.LoopPlace(f.text("where")), Sort: workshop.LoopOrder(f.text("sort")),
	}
	if q.Sort == workshop.ByTag { // the order of the register
		q.Sort = ""
	}
	if q.Fluid != "" && !q.Fluid.Valid() {
		return q, true, &loops.InvalidError{Field: "fluid", Value: string(q.Fluid), Reason: "one of the list"}
	}
	return q, q != workshop.LoopQuery{}, nil
}

// listAll reads the register in its own order and stops where the page is
// full, so that a long register costs no more than a short one.
func (s *server) listAll(p *loopsPage, query url.Values) error {
	asked, err := strconv.Atoi(query.Get("page"))
	if err != nil || asked < 1 {
		asked = 1
	}
	p.Pager.Page = asked
	if asked > 1 {
		p.Pager.Prev = pageAddress("/loops", query, asked-1)
	}
	skip := (asked - 1) * perPage
	wanted := func(yield func(loops.Loop, error) bool) {
		for loop, err := range s.Reader.Loops() {
			if p.Query == "" && skip > 0 && err == nil {
				skip--
			} else if !yield(loop, err) {
				return
			}
		}
	}
	for loop, err := range s.Workshop.Placed(wanted) {
		if err != nil {
			return err
		}
		row := rowOf(loop, p.Day)
		switch {
		case !row.fits(p.Query):
		case skip > 0:
			skip--
		case len(p.Rows) == perPage:
			p.Pager.Next = pageAddress("/loops", query, asked+1)
			return nil
		default:
			p.Rows = append(p.Rows, row)
		}
	}
	return nil
}

func (s *server) listNarrowed(p *loopsPage, q workshop.LoopQuery, query url.Values) error {
	lines, err := s.Workshop.FindLoops(q)
	if err != nil {
		return err
	}
	rows := make([]loopRow, 0, len(lines))
	for _, line := range lines {
		row := loopRow{
			Tag: line.Tag, Machine: line.MachineName, Loop: line.Name, Kind: line.MachineKind, Owner: line.OwnerName,
			Charge: chargeLine(line.State), Status: planStatus(line.Loop), email: line.Whose.Email, phone: line.Whose.Phone,
		}
		if tasks := workshop.NextTasks(line.Plan); len(tasks) > 0 {
			row.Next = nextOn(line.Tag, line.MachineName, tasks[0], p.Day)
		}
		if row.fits(p.Query) {
			rows = append(rows, row)
		}
	}
	var from, to int
	p.Pager, from, to = newPager("/loops", query, len(rows), perPage)
	p.Rows = rows[from:to]
	return nil
}

func rowOf(loop workshop.Placed, today loops.Day) loopRow {
	row := loopRow{
		Tag: loop.Tag, Machine: loop.Machine.Name, Loop: loop.Name, Kind: loop.Machine.Kind,
		Charge: chargeLine(loop.State), Status: planStatus(loop.Loop),
		Owner: loop.Owner.Name, email: loop.Owner.Email, phone: loop.Owner.Phone,
	}
	if tasks := workshop.NextTasks(loop.Plan); len(tasks) > 0 {
		row.Next = nextOn(loop.Tag, loop.Machine.Name, tasks[0], today)
	}
	return row
}

// fits tells whether every word of the query is in the tag, the owner or the
// machine, or the whole is a part of the owner's telephone or mail. A tag may be
// typed with blanks or hyphens.
func (r loopRow) fits(query string) bool {
	if query == "" {
		return true
	}
	if tag, err := loops.ParseTag(query); err == nil && tag == r.Tag {
		return true
	}
	if reach := (loops.Owner{Email: r.email, Phone: r.phone}); reach.Fits(query) {
		return true
	}
	text := strings.ToLower(strings.Join([]string{string(r.Tag), r.Owner, r.email, r.phone, r.Machine, r.Loop, string(r.Kind)}, "\n"))
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
