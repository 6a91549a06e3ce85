// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// perPage is how many lines one page of a list shows.
const perPage = 50

// ownersPage lists the owners.
type ownersPage struct {
	frame
	Query  string
	Owners []loops.Owner
	Pager  pager
}

func (s *server) pageOwners(w http.ResponseWriter, r *http.Request) error {
	query := newForm(r.URL.Query()).text("q")
	found, err := s.Workshop.FindOwners(workshop.OwnerQuery{Text: query, ByName: true})
	if err != nil {
		return err
	}
	p := ownersPage{frame: s.newFrame(r, "Owners"), Query: query}
	p.Here = "more"
	var from, to int
	p.Pager, from, to = newPager("/owners", r.URL.Query(), len(found), perPage)
	p.Owners = found[from:to]
	return s.render(w, http.StatusOK, "owners", p)
}

// ownerFilePage is one owner as the workshop knows them.
type ownerFilePage struct {
	frame
	Form   *form
	Fields recordForm[loops.Owner]
	Owner  loops.Owner
	// GivenUp says why nothing is mailed to the address; empty where it is.
	GivenUp  string
	Machines []workshop.MachineFile
}

func (s *server) pageOwnerFile(w http.ResponseWriter, r *http.Request) error {
	id, err := ownerID(r.PathValue("id"))
	if err != nil {
		return err
	}
	p, err := s.ownerFilePage(r, id, newForm(nil))
	if err != nil {
		return err
	}
	p.Fields.offer(p.Owner, p.Owner.Revision)
	return s.render(w, http.StatusOK, "ownerfile", p)
}

func (s *server) ownerFilePage(r *http.Request, id loops.OwnerID, f *form) (ownerFilePage, error) {
	file, err := s.Workshop.OwnerFileOf(id)
	if err != nil {
		return ownerFilePage{}, err
	}
	p := ownerFilePage{
		frame: s.newFrame(r, file.Owner.Name), Form: f, Fields: formOfRecord(acts.Owners(), f), Owner: file.Owner, Machines: file.Machines,
	}
	p.Here = "more"
	for x, err := range s.Reader.Suppressions() {
		if err != nil {
			return p, err
		}
		if x.Address == file.Owner.Email {
			p.GivenUp = x.Reason
		}
	}
	return p, nil
}

// editOwner writes the owner as the form says. The revision in the form is the
// one the technician read.
func (s *server) editOwner(w http.ResponseWriter, r *http.Request) error {
	owner, err := s.ownerOf(r.PathValue("id"))
	if err != nil {
		return err
	}
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p, err := s.ownerFilePage(r, owner.ID, f)
	if err != nil {
		return err
	}
	if f.text("do") == "allow" {
		if err := s.Workshop.Allow(s.stamp(r), owner.Email); err != nil {
			return err
		}
		s.Wake()
		http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
		return nil
	}
	now := owner
	err = p.Fields.read(&owner, loops.Owner.Validate)
	owner.Revision = p.Fields.revision()
	return s.changes(w, r, changing{
		form: f, err: err, edit: workshop.Edit{Owner: &owner}, take: p.Fields.take, leadsTo: func(workshop.Edited) string { return r.URL.Path },
		both:  func() { p.Fields.keepBoth(now, owner, now.Revision) },
		again: func(status int) error { return s.render(w, status, "ownerfile", p) },
	})
}
