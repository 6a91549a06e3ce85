// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strconv"
	"strings"

	"fillmark/chemistry"
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
	Kinds       []choice
	Fluids      []choice
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
	p := shelfPage{frame: s.newFrame(r, "Shelf"), Form: f, Day: today, Kinds: choicesOf("", loops.ContainerKinds()), Fluids: fluidChoices("none, an additive")}
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
	for x, err := range s.Reader.Samples() {
		if err != nil {
			return p, err
		}
		if !x.Discarded.IsZero() {
			continue
		}
		tag, err := s.Workshop.TagOf(x.Loop)
		if err != nil {
			return p, err
		}
		p.Samples = append(p.Samples, KeptSample{string(tag), x})
	}
	return p, nil
}

// addContainer puts a container on the shelf.
func (s *server) addContainer(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	c := containerOf(f)
	if f.OK() {
		added, err := s.Workshop.AddContainer(s.stamp(r), c)
		if err == nil {
			http.Redirect(w, r, "/shelf/"+strconv.FormatUint(uint64(added.ID), 10), http.StatusSeeOther)
			return nil
		}
		if err := f.take(err, map[string]string{"strength": "mass", "kind": "container_kind"}); err != nil {
			return err
		}
	}
	p, err := s.shelfPage(r, f)
	if err != nil {
		return err
	}
	return s.render(w, http.StatusUnprocessableEntity, "shelf", p)
}

func containerOf(f *form) loops.Container {
	day := func(name string) loops.Day { return orZero(mayRead(f, name, "", loops.ParseDay)) }
	var pairs []chemistry.LabelPair
	for line := range strings.Lines(f.text("label")) {
		pair, err := chemistry.ParseLabelPair(line)
		if err != nil {
			f.blame("label", "a line each: strength, then freeze point, Brix or density, such as 30%:-14C:22brix:1.03kg/l")
		}
		pairs = append(pairs, pair)
	}
	return loops.Container{
		Pairs: pairs,
		Kind:  loops.ContainerKind(f.text("container_kind")), Product: f.text("product"), Lot: f.text("lot"), Fluid: chemistry.Fluid(f.text("fluid")),
		Mass: mayRead(f, "mass", "%", chemistry.ParseMassPercent), MassUncertainty: orZero(mayRead(f, "mass_plus", "%", chemistry.ParseMassPercent)),
		Opened: day("opened"), Mixed: day("mixed"), Expires: day("expires"), Left: read(f, "left", "ml", chemistry.ParseLitre), Note: f.text("note"),
	}
}

// containerPage is one container with the loops it went into.
type containerPage struct {
	frame
	Line containerLine
	Uses []useLine
}

// useLine is what one loop got from a container.
type useLine struct {
	Tag    loops.Tag
	Day    loops.Day
	Volume chemistry.Litre
}

func (s *server) pageContainer(w http.ResponseWriter, r *http.Request) error {
	id, err := loops.ParseContainer(r.PathValue("id"))
	if err != nil {
		return loops.ErrNotFound
	}
	c, err := s.Workshop.Container(id)
	if err != nil {
		return err
	}
	p := containerPage{frame: s.newFrame(r, "Container "+r.PathValue("id")), Line: containerLineOf(c, loops.DayOf(s.Now(), s.Workshop.Settings().Zone))}
	p.Here = "more"
	for _, use := range c.Uses {
		loop, err := s.Reader.Loop(use.Loop)
		if err != nil {
			return err
		}
		p.Uses = append(p.Uses, useLine{loop.Tag, use.Day, use.Volume})
	}
	return s.render(w, http.StatusOK, "container", p)
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
