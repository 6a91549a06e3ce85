// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"io"
	"net/http"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// The paths whose bodies may hold photos.
const (
	photosPath   = "/api/v1/photos"
	openingsPath = "/openings"
	intakePath   = "/intake"
	ownerPath    = "/o/" // and an owner's token
)

// openingRoutes lists the routes of openings, of what they answer, and of
// their photos.
func (s *server) openingRoutes(mux router) {
	mux.Handle("GET "+photosPath, s.api(s.apiPhotos))
	mux.Handle("POST "+photosPath, s.api(s.apiKeepPhoto))
	mux.Handle("GET /api/v1/openings", s.api(s.apiOpenings))
	mux.Handle("GET /api/v1/openings/of/{tag}", s.api(s.apiOpeningsOf))
	mux.Handle("GET /api/v1/openings/pattern", s.api(s.apiPattern))
	mux.Handle("GET /api/v1/openings/howlong", s.api(s.apiHowLong))
	mux.Handle("GET /api/v1/openings/whenlook", s.api(s.apiWhenLook))
	mux.Handle("GET /api/v1/openings/evidence", s.api(s.apiEvidence))
	mux.Handle("GET /api/v1/openings/cases", s.api(s.apiCases))
	mux.Handle("GET /api/v1/openings/lives", s.stream("text/csv; charset=utf-8; header=present", s.exportLives))
	mux.Handle("GET /api/v1/openings/watches", s.api(s.apiWatches))
	mux.Handle("POST /api/v1/openings/watches", s.api(s.apiAddWatch))
	mux.Handle("GET /api/v1/openings/summary", s.api(s.apiSummary))
	mux.Handle("GET /api/v1/openings/summary.csv", s.stream("text/csv; charset=utf-8; header=present", s.exportSummary))
	s.openingPages(mux)
}

func (s *server) apiPhotos(r *http.Request) (any, error) {
	var of loops.OwnerID
	p := paramsOf(r)
	take(p, "owner", &of, numberOf[loops.OwnerID])
	if err := p.err(); err != nil {
		return nil, err
	}
	return itemsOf(s.Keeper.Photos(r.Context(), of))
}

func (s *server) apiKeepPhoto(r *http.Request) (any, error) {
	return s.Workshop.KeepPhoto(r.URL.Query().Get("name"), r.Body)
}

func (s *server) apiOpenings(r *http.Request) (any, error) {
	return itemsOf(s.Workshop.Openings())
}

func (s *server) apiOpeningsOf(r *http.Request) (any, error) {
	tag, err := tagOf(r)
	if err != nil {
		return nil, err
	}
	return itemsOf(s.Workshop.OpeningsOf(tag))
}

func (s *server) apiPattern(r *http.Request) (any, error) {
	cause, traits := loops.CauseClog, []workshop.Trait(nil)
	p := paramsOf(r)
	take(p, "cause", &cause, workshop.ParseCause)
	take(p, "trait", &traits, oneTrait)
	if err := p.err(); err != nil {
		return nil, err
	}
	return s.Workshop.Pattern(cause, traits...)
}

func oneTrait(text string) ([]workshop.Trait, error) {
	t, err := workshop.ParseTrait(text)
	return []workshop.Trait{t}, err
}

func (s *server) apiHowLong(r *http.Request) (any, error) {
	var by string
	p := paramsOf(r)
	take(p, "by", &by, words)
	if err := p.err(); err != nil {
		return nil, err
	}
	return itemsOf(s.Workshop.HowLong(by))
}

func (s *server) apiWhenLook(r *http.Request) (any, error) {
	return itemsOf(s.Workshop.WhenToLook(s.Now()))
}

func (s *server) apiEvidence(r *http.Request) (any, error) {
	if err := paramsOf(r).err(); err != nil {
		return nil, err
	}
	return itemsOf(s.Workshop.EvidenceVersions())
}

func (s *server) apiCases(r *http.Request) (any, error) {
	return itemsOf(s.Workshop.CaseLines())
}

// exportLives answers with the rows that one origin's answers rest on.
func (s *server) exportLives(r *http.Request, out io.Writer) error {
	origin, by := loops.WorkshopFill, ""
	p := paramsOf(r)
	take(p, "origin", &origin, oneOf([]loops.Origin{loops.WorkshopFill, loops.Factory, loops.UnknownOrigin}))
	take(p, "by", &by, words)
	if err := p.err(); err != nil {
		return err
	}
	answers, err := s.Workshop.HowLong(by)
	if err != nil {
		return err
	}
	for _, a := range answers {
		if a.Origin == origin {
			return workshop.WriteLives(out, a.Rows)
		}
	}
	return workshop.WriteLives(out, nil)
}

func (s *server) apiWatches(r *http.Request) (any, error) {
	return itemsOf(s.Workshop.Watches())
}

func (s *server) apiAddWatch(r *http.Request) (any, error) {
	watch, err := decode[loops.PatternWatch](r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.AddWatch(s.stamp(r), watch)
}

// summaryTrait reads what a summary is about.
func summaryTrait(r *http.Request) (workshop.Trait, error) {
	var trait workshop.Trait
	p := paramsOf(r)
	take(p, "trait", &trait, workshop.ParseTrait)
	if err := p.err(); err != nil {
		return trait, err
	}
	if trait.Key == "" {
		_, err := workshop.ParseTrait("")
		return trait, err
	}
	return trait, nil
}

func (s *server) apiSummary(r *http.Request) (any, error) {
	trait, err := summaryTrait(r)
	if err != nil {
		return nil, err
	}
	return s.Workshop.Summary(s.Now(), trait)
}

func (s *server) exportSummary(r *http.Request, out io.Writer) error {
	trait, err := summaryTrait(r)
	if err != nil {
		return err
	}
	summary, err := s.Workshop.Summary(s.Now(), trait)
	if err != nil {
		return err
	}
	return summary.WriteCSV(out)
}
