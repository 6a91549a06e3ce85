// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/photos"
)

// maxOpenings is how many openings one page lists.
const maxOpenings = 100

// openingsPage takes an opening in and lists those on record.
type openingsPage struct {
	frame
	Form      *openingForm
	Rows      []evidence.OpeningLine
	Count     int
	MaxPhotos int
	Notices   []loops.EvidenceNotice
}

func (s *server) pageOpenings(w http.ResponseWriter, r *http.Request) error {
	f := newForm(r.URL.Query())
	f.offer("day", loops.DayOf(s.Now(), s.Workshop.Settings().Zone).String())
	form, err := s.openingOf(f)
	if err != nil {
		return err
	}
	return s.showOpenings(w, r, http.StatusOK, form)
}

func (s *server) showOpenings(w http.ResponseWriter, r *http.Request, status int, form *openingForm) error {
	rows, err := s.Workshop.Openings()
	if err != nil {
		return err
	}
	list, err := s.Workshop.Due(s.Now())
	if err != nil {
		return err
	}
	p := openingsPage{frame: s.newFrame(r, "Openings"), Form: form, Rows: rows[:min(len(rows), maxOpenings)], Count: len(rows), MaxPhotos: maxFormPhotos, Notices: list.Notices}
	p.Here = "openings"
	return s.render(w, status, "openings", p)
}

// enterOpening records the opening, or shows the form again as it was filled
// in, its photos kept.
func (s *server) enterOpening(w http.ResponseWriter, r *http.Request) error {
	form, err := s.readOpeningForm(r)
	if err != nil {
		return err
	}
	tag, err := loops.ParseTag(form.text("tag"))
	if err != nil {
		form.blame("tag", problemsOf(err)[0].Right)
	}
	opening, err := form.read(form.said())
	if err != nil {
		return err
	}
	done, err := s.does(r, tag, form.actForm, opening)
	if errors.Is(err, loops.ErrNotFound) {
		form.blame("tag", "the tag of a loop on record")
		form.status, err = 0, nil
	}
	if err != nil {
		return err
	}
	if !done {
		return s.showOpenings(w, r, cmp.Or(form.status, http.StatusUnprocessableEntity), form)
	}
	http.Redirect(w, r, "/openings/of/"+string(tag), http.StatusSeeOther)
	return nil
}

// openingPage shows the openings of one loop, photos side by side.
type openingPage struct {
	frame
	Tag     loops.Tag
	Found   []openingView
	Notices []loops.EvidenceNotice
}

// openingView is one opening as the page shows it.
type openingView struct {
	evidence.OpeningFile
	Words         string
	Charge        string
	Before, After []loops.OpeningPhoto
}

func (s *server) pageOpening(w http.ResponseWriter, r *http.Request) error {
	tag, err := tagOf(r)
	if err != nil {
		return err
	}
	found, err := s.Workshop.OpeningsOf(tag)
	if err != nil {
		return err
	}
	list, err := s.Workshop.Due(s.Now())
	if err != nil {
		return err
	}
	p := openingPage{frame: s.newFrame(r, "Opening of "+string(tag)), Tag: tag, Notices: list.Notices}
	p.Here = "openings"
	for _, f := range found {
		v := openingView{OpeningFile: f, Words: acts.Words(loops.Entry{Kind: loops.KindOpening, Opening: &f.Opening}), Charge: chargeLine(loops.State{Charge: &f.Charge})}
		for _, photo := range f.Opening.Photos {
			if photo.When == loops.AfterWork {
				v.After = append(v.After, photo)
			} else {
				v.Before = append(v.Before, photo)
			}
		}
		p.Found = append(p.Found, v)
	}
	return s.render(w, http.StatusOK, "opening", p)
}

// photo answers with a photo, or with its small copy. Its name is made of its
// content, so a browser may keep it.
func (s *server) photo(w http.ResponseWriter, r *http.Request) error {
	name, size := strings.TrimSuffix(r.PathValue("name"), ".jpg"), photos.Full
	if hash, ok := strings.CutSuffix(name, string(photos.Small)); ok {
		name, size = hash, photos.Small
	}
	content, err := s.Workshop.Photo(name, size)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Cache-Control", "private, max-age=31536000, immutable")
	_, _ = w.Write(content) // the reader has gone where this fails
	return nil
}
