// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"slices"
	"strconv"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// shelfPage lists the containers, what left the loops, and the instruments.
type shelfPage struct {
	frame
	Form        *form
	Day         loops.Day
	Containers  []containerLine
	Used        []workshop.UsedLine
	Instruments []loops.Instrument
	Samples     []KeptSample // that were not poured away
	Fields      recordForm[loops.Container]
}

// containerLine is one container in words.
type containerLine struct {
	loops.Container
	Holds   string
	Expired bool
}

func containerLineOf(c loops.Container, today loops.Day) containerLine {
	line := containerLine{Container: c, Expired: !c.Expires.IsZero() && today.After(c.Expires), Holds: "additive"}
	if c.Fluid != "" {
		line.Holds = c.Fluid.Name()
	}
	if c.Mass != nil && c.Fluid.IsGlycol() {
		line.Holds += ", " + strength(*c.Mass, c.MassUncertainty)
	}
	return line
}

func (s *server) pageShelf(w http.ResponseWriter, r *http.Request) error {
	p, err := s.shelfPage(r, newForm(nil))
	if err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "shelf", p)
}

// lastUsed is how many lines of the used-fluid log the page shows.
const lastUsed = 20

func (s *server) shelfPage(r *http.Request, f *form) (shelfPage, error) {
	today := loops.DayOf(s.Now(), s.Workshop.Settings().Zone)
	p := shelfPage{frame: s.newFrame(r, "Shelf"), Form: f, Day: today, Fields: formOfRecord(acts.Containers(), f)}
	p.Here = "more"
	for c, err := range s.Reader.Containers() {
		if err != nil {
			return p, err
		}
		p.Containers = append(p.Containers, containerLineOf(c, today))
	}
	var err error
	if p.Used, err = s.Workshop.UsedFluid(lastUsed); err != nil {
		return p, err
	}
	for i, err := range s.Reader.Instruments() {
		if err != nil {
			return p, err
		}
		p.Instruments = append(p.Instruments, i)
	}
	if p.Samples, err = s.samples(); err != nil {
		return p, err
	}
	p.Samples = slices.DeleteFunc(p.Samples, func(x KeptSample) bool { return !x.Discarded.IsZero() })
	return p, nil
}

// addContainer puts a container on the shelf.
func (s *server) addContainer(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p, err := s.shelfPage(r, f)
	if err != nil {
		return err
	}
	var c loops.Container
	if err := p.Fields.read(&c, loops.Container.Validate); err != nil {
		return err
	}
	if f.OK() {
		added, err := s.Workshop.AddContainer(s.stamp(r), c)
		if err := p.Fields.take(err); err != nil {
			return err
		}
		if f.OK() {
			http.Redirect(w, r, "/shelf/"+strconv.FormatUint(uint64(added.ID), 10), http.StatusSeeOther)
			return nil
		}
	}
	return s.render(w, http.StatusUnprocessableEntity, "shelf", p)
}

// containerPage is one container with the loops it went into.
type containerPage struct {
	frame
	Form   *form
	Fields recordForm[loops.Container]
	Line   containerLine
	Uses   []useLine
}

// useLine is what one loop got from a container.
type useLine struct {
	Tag    loops.Tag
	Day    loops.Day
	Volume chemistry.Litre
}

func (s *server) pageContainer(w http.ResponseWriter, r *http.Request) error {
	p, err := s.containerPage(r, newForm(nil))
	if err != nil {
		return err
	}
	p.Fields.offer(p.Line.Container, p.Line.Revision)
	return s.render(w, http.StatusOK, "container", p)
}

func (s *server) containerPage(r *http.Request, f *form) (p containerPage, err error) {
	id, err := loops.ParseContainer(r.PathValue("id"))
	if err != nil {
		return p, loops.ErrNotFound
	}
	c, err := s.Workshop.Container(id)
	if err != nil {
		return p, err
	}
	p = containerPage{
		frame: s.newFrame(r, "Container "+r.PathValue("id")), Form: f, Fields: formOfRecord(acts.Containers(), f),
		Line: containerLineOf(c, loops.DayOf(s.Now(), s.Workshop.Settings().Zone)),
	}
	p.Here = "more"
	tags, err := s.Workshop.TagsOf(loopsIn(c))
	for _, use := range c.Uses {
		p.Uses = append(p.Uses, useLine{tags[use.Loop], use.Day, use.Volume})
	}
	return p, err
}

// editContainer writes a container as the form says.
func (s *server) editContainer(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	p, err := s.containerPage(r, f)
	if err != nil {
		return err
	}
	c := p.Line.Container
	err = p.Fields.read(&c, loops.Container.Validate)
	c.Revision = p.Fields.revision()
	return s.changes(w, r, changing{
		form: f, err: err, edit: workshop.Edit{Container: &c}, take: p.Fields.take, leadsTo: func(workshop.Edited) string { return r.URL.Path },
		both:  func() { p.Fields.keepBoth(p.Line.Container, c, p.Line.Container.Revision) },
		again: func(status int) error { return s.render(w, status, "container", p) },
	})
}

// recallPage lists the loops that a lot went into, and whom to call.
type recallPage struct {
	frame
	Lot     string
	Recall  *workshop.Recall // nil where nothing was asked or found
	Unknown bool
}

func (s *server) pageRecall(w http.ResponseWriter, r *http.Request) error {
	p := recallPage{frame: s.newFrame(r, "Recall"), Lot: newForm(r.URL.Query()).text("lot")}
	p.Here = "more"
	if p.Lot != "" {
		recall, err := s.Workshop.RecallOf(p.Lot)
		switch {
		case kindOf(err) == FailNotFound:
			p.Unknown = true
		case err != nil:
			return err
		default:
			p.Recall = &recall
		}
	}
	return s.render(w, http.StatusOK, "recall", p)
}
