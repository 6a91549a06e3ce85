// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"io"
	"net/http"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/evidence"
)

// The paths whose bodies may hold photos.
const (
	photosPath   = "/api/v1/photos"
	openingsPath = "/openings"
	intakePath   = "/intake"
	ownerPath    = "/o/" // and an owner's token
)

func (s *server) photos(r *http.Request, of loops.OwnerID) (list[NamedPhoto], error) {
	return itemsOf(s.Keeper.Photos(r.Context(), of))
}

func (s *server) keepPhoto(_ *http.Request, name string, photo io.Reader) (workshop.KeptPhoto, error) {
	return s.Workshop.KeepPhoto(name, photo)
}

func (s *server) pattern(q patternQuestion) (evidence.PatternAnswer, error) {
	return s.Workshop.Pattern(cmp.Or(q.cause, loops.CauseClog), q.traits...)
}

func (s *server) whenLook() ([]evidence.WhenLook, error) { return s.Workshop.WhenToLook(s.Now()) }

// exportLives answers with the rows that the answer of one origin and build rests
// on.
func (s *server) exportLives(_ *http.Request, q livesQuestion, out io.Writer) error {
	answers, err := s.Workshop.HowLong(q.by)
	if err != nil {
		return err
	}
	rows, err := evidence.RowsOf(answers, cmp.Or(q.origin, loops.WorkshopFill), q.build)
	if err != nil {
		return err
	}
	return workshop.WriteLives(out, rows)
}

func (s *server) summary(trait evidence.Trait) (workshop.Summary, error) {
	return s.Workshop.Summary(s.Now(), trait)
}

func (s *server) exportSummary(_ *http.Request, trait evidence.Trait, out io.Writer) error {
	summary, err := s.summary(trait)
	if err != nil {
		return err
	}
	return workshop.WriteSummary(out, summary)
}
