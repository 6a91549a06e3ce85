// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"net/http"
	"net/url"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// refillForm is the page that a form stands on where it is not the loop's own.
const refillForm = "refill"

// actForms are the forms of a page.
func (s *server) actForms(file workshop.File, page string, sent *actForm) actForms {
	return actForms{
		tag: file.Loop.Tag, chiller: file.Machine.Kind.IsChiller(), page: page, random: s.Random, sent: sent,
		offers: map[string]url.Values{}, drawn: map[string]bool{}, all: s.acts,
	}
}

// sentForm is a form that was sent.
func sentForm(d acts.Definition, f *form) *actForm {
	sent := formOf(d, f, "")
	sent.Page, sent.Key, sent.Sent = f.text("page"), f.text("key"), true
	return sent
}

// enterAct does what a form says and leads on; where something is wrong, or
// speaks against it, the form's page is shown again with all that was typed.
func (s *server) enterAct(w http.ResponseWriter, r *http.Request) error {
	file, err := s.fileOf(r)
	if err != nil {
		return err
	}
	d, ok := s.acts[r.PathValue("act")]
	if !ok {
		return loops.ErrNotFound
	}
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	if len(f.typed) == 0 { // of an act without fields of its own nothing else tells that somebody meant it
		return &loops.InvalidError{Field: "form", Reason: "the form as its page sends it"}
	}
	sent := sentForm(d, f)
	sent.Tag, sent.Chiller = file.Loop.Tag, file.Machine.Kind.IsChiller()
	all, err := sent.acts()
	if err != nil {
		return err
	}
	done, err := s.does(r, file.Loop.Tag, sent, all...)
	if err != nil {
		return err
	}
	if done {
		http.Redirect(w, r, sent.leadsTo(), http.StatusSeeOther)
		return nil
	}
	return s.showAct(w, r, file, sent)
}

// acts are those that the form says: a step each that is ticked, else one.
func (f *actForm) acts() ([]acts.Act, error) {
	if f.Kind == loops.KindStep {
		return f.steps()
	}
	a, err := f.read(f.said())
	return []acts.Act{a}, err
}

// does does the acts of a form; it did not where the form says what is wrong.
func (s *server) does(r *http.Request, tag loops.Tag, sent *actForm, all ...acts.Act) (bool, error) {
	if sent.Any() {
		return false, nil
	}
	recorded, err := s.Workshop.Act(s.stamp(r), tag, all...)
	if err == nil {
		sent.Entry = recorded.Entry.ID
		s.Wake()
		return true, nil
	}
	err = sent.take(err)
	if sent.Kind == loops.KindStep {
		sent.markSteps(sent.typed["sheet-step"]...)
	}
	if err == nil && len(sent.Rest) > 0 { // sent before: once more is another act
		sent.Key, err = newKey(s.Random)
	}
	return false, err
}

// leadsTo is where a form leads that was recorded: the sheet that goes back
// with the machine, the place on the refill page, the list of what is due, or
// the history.
func (f *actForm) leadsTo() string {
	place := url.URL{Path: "/loops/" + string(f.Tag), Fragment: "history"}
	switch {
	case f.Kind == loops.KindHandover || f.Kind == loops.KindReturn:
		return place.Path + "/handover"
	case f.Page == doneForm:
		return backToDue(f.text("from"), enteredAs(f.Tag, f.Entry))
	case f.Page == refillForm:
		place.Path, place.Fragment = place.Path+"/refill", f.text("at")
		place.RawQuery = f.mix().Encode()
	}
	return place.String()
}

// mix is what the refill page was asked for, which the form carries along.
func (f *actForm) mix() url.Values {
	query, err := url.ParseQuery(f.text("q"))
	if err != nil {
		return url.Values{}
	}
	return query
}

func (s *server) showAct(w http.ResponseWriter, r *http.Request, file workshop.File, sent *actForm) error {
	status := cmp.Or(sent.status, http.StatusUnprocessableEntity)
	if sent.Page == refillForm {
		p, err := s.refillPage(r, file, newForm(sent.mix()), sent)
		if err != nil {
			return err
		}
		return s.render(w, status, refillForm, p)
	}
	if sent.Page == doneForm {
		p, err := s.donePage(r, file, sent.Name, sent)
		if err != nil {
			return err
		}
		return s.render(w, status, doneForm, p)
	}
	p, err := s.loopPage(r, file, sent)
	if err != nil {
		return err
	}
	return s.render(w, status, "loop", p)
}
