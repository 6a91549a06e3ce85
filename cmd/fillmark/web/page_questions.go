// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"bytes"
	"html/template"
	"net/http"
	"net/url"

	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
)

// questionsPage asks the openings three things.
type questionsPage struct {
	frame
	Cause  loops.Cause
	Causes []tile
	By     string
	Keys   []tile

	Pattern evidence.PatternAnswer
	// Told are the traits of the pattern that have an answer, Untold why the
	// others have none.
	Told    []evidence.PatternLine
	Untold  []findings.Refusal
	Watches []evidence.WatchLine
	// Compared sets the groups of the lives against the others of their age.
	Compared   []evidence.PatternLine
	Uncompared []findings.Refusal
	Lives      []livesView
	Look       []evidence.WhenLook
}

// livesView is how long the charges of one origin last in loops of one build.
type livesView struct {
	Of     string
	Report findings.Report
	Plot   *plotView
	Apart  []evidence.ApartLine
	Lacks  []findings.Refusal
	CSV    string // where the rows are that it rests on
}

// plotView is a picture with the numbers it shows.
type plotView struct {
	SVG    template.HTML // with a sentence below it that says what it shows
	Curves []findings.PlotCurve
}

// plotOf draws a plot for a page; its name tells the ids of several apart.
func plotOf(p *findings.Plot, name string) *plotView {
	if p == nil {
		return nil
	}
	drawn := bytes.ReplaceAll(p.SVG("months"), []byte(`plot-t`), []byte("plot-"+name+"-t"))
	// The drawing escapes every text in it itself.
	return &plotView{SVG: template.HTML(drawn), Curves: p.Curves}
}

func (s *server) pageQuestions(w http.ResponseWriter, r *http.Request) error {
	p := questionsPage{frame: s.newFrame(r, "What openings say"), Cause: loops.CauseClog}
	p.Here = "openings"
	q := paramsOf(r)
	take(q, "cause", &p.Cause, evidence.ParseCause)
	take(q, "by", &p.By, asText)
	err := q.err()
	if err != nil {
		return err
	}
	for _, c := range loops.Causes() {
		if c.InLoop() {
			p.Causes = append(p.Causes, tile{Value: string(c), On: c == p.Cause})
		}
	}
	for _, key := range evidence.GroupKeys() {
		p.Keys = append(p.Keys, tile{Value: key, On: key == p.By})
	}
	asked, err := s.Workshop.Questions(p.Cause, p.By, s.Now())
	if err != nil {
		return err
	}
	p.Pattern, p.Look = asked.Pattern, asked.Look
	p.Told, p.Untold = evidence.Told(p.Pattern.Lines)
	if p.Watches, err = s.Workshop.Watches(); err != nil {
		return err
	}
	lives := asked.Lives
	if len(lives) > 0 {
		p.Compared, p.Uncompared = evidence.Told(lives[0].Compared)
	}
	for _, l := range lives {
		build := evidence.Build(l.Sealed)
		rows := url.Values{"origin": {string(l.Origin)}, "build": {build}}
		if p.By != "" {
			rows.Set("by", p.By)
		}
		p.Lives = append(p.Lives, livesView{l.Of, l.Report, plotOf(l.Plot, string(l.Origin)+"-"+build), l.Apart, l.Lacks, "/api/v1/openings/lives?" + rows.Encode()})
	}
	return s.render(w, http.StatusOK, "questions", p)
}

// enterWatch puts a pattern under watch.
func (s *server) enterWatch(w http.ResponseWriter, r *http.Request) error {
	if err := r.ParseForm(); err != nil {
		return formFault(err)
	}
	watch := loops.PatternWatch{Cause: loops.Cause(r.PostForm.Get("cause")), Trait: r.PostForm.Get("trait"), ReadAt: pageReadAt}
	if _, err := s.Workshop.AddWatch(s.stamp(r), watch); err != nil {
		return err
	}
	http.Redirect(w, r, "/openings/questions?"+url.Values{"cause": {string(watch.Cause)}}.Encode()+"#watches", http.StatusSeeOther)
	return nil
}

// pageReadAt is the number of later failures at which a watch from the page is
// read: with fewer even the plainest pattern seldom shows.
const pageReadAt = 5
