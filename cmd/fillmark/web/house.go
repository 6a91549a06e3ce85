// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"context"
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/loops"
)

// house is who looks whether all is well.
type house interface {
	// Examine looks at everything, Quick at what is known at once; Seen is what the
	// alarms saw when they were last asked.
	Examine(context.Context) doctor.Report
	Quick() doctor.Report
	Seen() doctor.Report
}

// examine answers with every check.
func (s *server) examine(r *http.Request) (doctor.Report, error) {
	if s.House == nil {
		return doctor.Report{}, loops.ErrNotFound
	}
	return s.House.Examine(r.Context()), nil
}

// houseTrouble is what the pages of the day tell of the house, which ask for the
// alarms before; never nil.
func (s *server) houseTrouble() []doctor.Line {
	if s.House == nil {
		return []doctor.Line{}
	}
	report := s.House.Seen
	if s.Alarms == nil {
		report = s.House.Quick
	}
	return append([]doctor.Line{}, report().Told()...)
}

// stopped is the first fault with which the house does not do its work; empty
// where it does. Sweeps and mail are asked for themselves.
func (s *server) stopped() string {
	for _, l := range s.houseTrouble() {
		if l.Stops && l.State == doctor.Red {
			return l.Check + ": " + l.Says
		}
	}
	return ""
}

// doctorPage shows every check.
type doctorPage struct {
	frame
	Report doctor.Report
	Groups []doctorGroup
}

// doctorGroup is the checks in one state.
type doctorGroup struct {
	Heading, Rule string
	Lines         []doctor.Line
}

func (s *server) pageDoctor(w http.ResponseWriter, r *http.Request) error {
	report, err := s.examine(r)
	if err != nil {
		return err
	}
	p := doctorPage{frame: s.newFrame(r, "Doctor"), Report: report}
	p.Here = "more"
	for _, g := range []struct {
		heading, rule string
		state         doctor.State
	}{
		{"To put right", "stop", doctor.Red}, {"Follows from that", "care", doctor.Follows},
		{"Good", "go", doctor.Good}, {"Not applicable", "unknown", doctor.NotHere},
	} {
		group := doctorGroup{Heading: g.heading, Rule: g.rule}
		for _, l := range report.Lines {
			if l.State == g.state {
				l.Check = strings.ToUpper(l.Check[:1]) + l.Check[1:]
				group.Lines = append(group.Lines, l)
			}
		}
		if len(group.Lines) > 0 {
			p.Groups = append(p.Groups, group)
		}
	}
	return s.render(w, http.StatusOK, "doctor", p)
}
