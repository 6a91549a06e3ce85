// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"errors"
	"net/http"
	"strconv"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// calledNotice says what was just written down, and can take it back.
type calledNotice struct {
	Words string
	Tags  []loops.Tag
	Ids   []string // TAG:ENTRY each, as the form that takes it back sends them
	Key   string
}

// enterCalls writes a call to an owner down for each loop that it was about,
// and leads back to the list.
func (s *server) enterCalls(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	d := s.acts["call"]
	tags := f.typed["tag"]
	if len(tags) == 0 {
		return &loops.InvalidError{Field: "tag", Reason: "the loops that the call was about"}
	}
	said := acts.Said{"outcome": {f.text("outcome")}}
	// A button of its own says the nearest days.
	if agreed := cmp.Or(f.text("on"), f.text("agreed")); agreed != "" {
		said["agreed"] = []string{agreed}
	}
	var entered []string
	for _, tag := range tags {
		said["key"] = []string{f.text("key") + "." + tag}
		act, err := d.Read(said)
		if err != nil {
			return err
		}
		recorded, err := s.Workshop.Act(s.stamp(r), loops.Tag(tag), act)
		if err != nil {
			return d.Named(err)
		}
		entered = append(entered, enteredAs(recorded.Loop.Tag, recorded.Entry.ID))
	}
	s.Wake()
	http.Redirect(w, r, backToDue(f.text("from"), entered...), http.StatusSeeOther)
	return nil
}

// undoCalls strikes out what was just written down from the list.
func (s *server) undoCalls(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	d := s.acts["strike"]
	if len(f.typed["called"]) == 0 {
		return &loops.InvalidError{Field: "called", Reason: "what is taken back"}
	}
	for _, called := range f.typed["called"] {
		entry, err := s.calledEntry(called)
		if err != nil {
			return err
		}
		tag, number, _ := strings.Cut(called, ":")
		act, err := d.Read(acts.Said{"entry": {number}, "why": {"taken back on the list: " + acts.Words(entry)}, "key": {f.text("key") + "." + tag}})
		if err != nil {
			return err
		}
		if _, err := s.Workshop.Act(s.stamp(r), loops.Tag(tag), act); err != nil {
			return err
		}
	}
	s.Wake()
	http.Redirect(w, r, backToDue(f.text("from")), http.StatusSeeOther)
	return nil
}

// calledEntry is the standing entry that TAG:ENTRY names, of those that are
// written down from the list.
func (s *server) calledEntry(called string) (loops.Entry, error) {
	tag, number, _ := strings.Cut(called, ":")
	file, err := s.Workshop.File(loops.Tag(tag))
	if err != nil {
		return loops.Entry{}, err
	}
	for _, e := range loops.Standing(file.History) {
		if undoable(e.Kind) && strconv.FormatUint(uint64(e.ID), 10) == number {
			return e, nil
		}
	}
	return loops.Entry{}, loops.ErrNotFound
}

// calledNotice reads back what the address says was written down; nil where
// that is nothing that stands.
func (s *server) calledNotice(called []string) (*calledNotice, error) {
	var n calledNotice
	for _, c := range called {
		entry, err := s.calledEntry(c)
		if errors.Is(err, loops.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		tag, _, _ := strings.Cut(c, ":")
		n.Words, n.Ids, n.Tags = acts.Words(entry), append(n.Ids, c), append(n.Tags, loops.Tag(tag))
	}
	if len(n.Ids) == 0 {
		return nil, nil
	}
	var err error
	n.Key, err = newKey(s.Random)
	return &n, err
}
