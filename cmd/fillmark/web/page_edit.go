// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// editPage puts right what an intake got wrong: the machine, and how its loop
// is built.
type editPage struct {
	frame
	Form *form
	Tag  loops.Tag
	Name string
	// Machine and Loop are the two parts of the form.
	Machine recordForm[loops.Machine]
	Loop    loopForm
}

func (s *server) editPage(r *http.Request, file workshop.File, f *form) editPage {
	p := editPage{
		frame: s.newFrame(r, "Change "+string(file.Loop.Tag)), Form: f, Tag: file.Loop.Tag, Name: file.Machine.Name,
		Machine: formOfRecord(acts.Machines(), f), Loop: newLoopForm(f),
	}
	p.Here = "loops"
	return p
}

func (s *server) pageEdit(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	p := s.editPage(r, file, newForm(nil))
	p.Machine.offer(file.Machine, file.Machine.Revision)
	p.Loop.offer(file.Loop, file.Loop.Revision)
	return s.render(w, http.StatusOK, "edit", p)
}

// Wrong lists what is marked, as the page links to it.
func (p editPage) Wrong() []field { return append(p.Machine.Wrong(), p.Loop.Wrong()...) }

// edit writes the machine and the loop as the form says, together or not at
// all, and leads to the loop's page, which says what the charge is judged to be
// where that may have changed.
func (s *server) edit(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p := s.editPage(r, file, f)
	machine, loop := file.Machine, file.Loop
	err = errors.Join(p.Machine.read(&machine, loops.Machine.Validate), p.Loop.read(&loop))
	machine.Revision, loop.Revision = p.Machine.revision(), p.Loop.revision()
	return s.changes(w, r, changing{
		form: f, err: err, edit: workshop.Edit{Machine: &machine, Loop: &loop}, take: p.Loop.take,
		leadsTo: func(done workshop.Edited) string {
			path := "/loops/" + string(file.Loop.Tag)
			if done.Verdict != "" {
				path += "?judged=yes"
			}
			return path
		},
		both: func() {
			p.Machine.keepBoth(file.Machine, machine, file.Machine.Revision)
			p.Loop.keepBoth(file.Loop, acts.Again(file.Loop, loop, s.Workshop.DayOf(file.Owner, s.Now())), file.Loop.Revision)
		},
		again: func(status int) error { return s.render(w, status, "edit", p) },
	})
}

// changing is a change of records that a form asks for.
type changing struct {
	form    *form
	err     error // of reading the form
	edit    workshop.Edit
	take    func(error) error // marks what a refused edit says
	leadsTo func(workshop.Edited) string
	both    func()                 // keeps what is on record by now beside what was typed
	again   func(status int) error // shows the form again, with what is wrong
}

// changes writes records as a form says and leads on. Where somebody else wrote
// since the form was opened, it is shown again with both versions.
func (s *server) changes(w http.ResponseWriter, r *http.Request, c changing) error {
	if c.err != nil {
		return c.err
	}
	var done workshop.Edited
	if c.form.OK() {
		var err error
		done, err = s.Workshop.Edit(s.stamp(r), c.edit)
		if errors.Is(err, loops.ErrConflict) {
			if c.both(); len(c.form.Both) > 0 {
				return c.again(http.StatusConflict)
			}
			err = nil // the other wrote the same
		}
		if c.take(err) != nil {
			return err
		}
	}
	if !c.form.OK() {
		return c.again(http.StatusUnprocessableEntity)
	}
	s.Wake()
	http.Redirect(w, r, c.leadsTo(done), http.StatusSeeOther)
	return nil
}
