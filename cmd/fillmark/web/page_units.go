// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"net/http"
	"net/url"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// unitsPage takes several donor units of one model in on one sheet.
type unitsPage struct {
	frame
	Form *form
	Fill *actForm // of the factory, the same in all of them
	Key  string
	Most int
}

func (s *server) unitsPage(r *http.Request, f *form) (unitsPage, error) {
	p := unitsPage{frame: s.newFrame(r, "Donor units"), Form: f, Key: f.text("key"), Most: workshop.MostUnits}
	p.Here = "intake"
	p.Fill = formOf(s.acts["fill"], f, "fill.")
	var err error
	if p.Key == "" {
		p.Key, err = newKey(s.Random)
	}
	return p, err
}

func (s *server) pageUnits(w http.ResponseWriter, r *http.Request) error {
	p, err := s.unitsPage(r, newForm(r.URL.Query()))
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "units", p)
}

// takeInUnits records all units of the sheet, or shows it again as it was filled
// in, and leads to their labels.
func (s *server) takeInUnits(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p, err := s.unitsPage(r, f)
	if err != nil {
		return err
	}
	all, err := s.enterUnits(r, &p)
	if err = p.take(err); err != nil {
		return err
	}
	if p.Fill.Any() {
		if p.Fill.status == http.StatusConflict { // once more is another sheet
			if p.Key, err = newKey(s.Random); err != nil {
				return err
			}
		}
		return s.render(w, cmp.Or(p.Fill.status, http.StatusUnprocessableEntity), "units", p)
	}
	tags := url.Values{}
	for _, loop := range all {
		tags.Add("tag", string(loop.Tag))
	}
	s.Wake()
	http.Redirect(w, r, "/labels?"+tags.Encode(), http.StatusSeeOther)
	return nil
}

func (s *server) enterUnits(r *http.Request, p *unitsPage) ([]loops.Loop, error) {
	u := workshop.Units{Maker: p.Form.text("maker"), Model: p.Form.text("model"), Key: p.Key}
	var err error
	if u.Each, err = workshop.ReadUnits(p.Form.text("count"), p.Form.text("units")); err != nil {
		return nil, err
	}
	if said := p.Fill.said(); len(said) > 0 {
		said["origin"] = []string{string(loops.Factory)}
		a, err := p.Fill.read(said)
		if err != nil || a == nil {
			return nil, err
		}
		u.Fill, _ = a.(*acts.Fill)
	}
	return s.Workshop.TakeInUnits(s.stamp(r), u)
}

// take marks what an error says in the sheet: what a machine cannot be called is
// wrong with its line, and so is a unit that is on record.
func (p *unitsPage) take(err error) error {
	if of, ok := errors.AsType[*workshop.ActError](err); ok && of.Kind == p.Fill.Kind {
		return p.Fill.take(err)
	}
	if errors.Is(err, loops.ErrRepeated) {
		p.Fill.status = http.StatusConflict
		p.Form.blame("units", "the units of this sheet as it was sent first are on record: leave their lines out, or they are recorded twice")
		return nil
	}
	if err != nil {
		p.Fill.status, _ = failureOf(err)
	}
	return p.Form.take(err, map[string]string{"name": "units", "note": "units"})
}

// Wrong lists what is marked, as the page links to it.
func (p unitsPage) Wrong() []field {
	var all []field
	for _, x := range [][2]string{{"model", "Model"}, {"maker", "Maker"}, {"count", "How many"}, {"units", "A line each"}} {
		if right := p.Form.Problem(x[0]); right != "" {
			all = append(all, field{ID: x[0], Label: x[1], Value: p.Form.text(x[0]), Problem: right})
		}
	}
	return append(all, p.Fill.Wrong()...)
}
