// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// settingsPage shows what the program runs with. It is changed in the
// configuration file.
type settingsPage struct {
	frame
	From, BaseURL, Zone string
	SendHour            int
	MailReachesOwners   bool
	Hosts               string
	Policy              loops.Policy
	Intervals           []intervalLine
}

// intervalLine is one interval of the policy with whom it is for.
type intervalLine struct {
	Task          loops.TaskKind
	Every         string
	For           string
	Source, Grade string
}

func (s *server) pageSettings(w http.ResponseWriter, r *http.Request) error {
	settings := s.Workshop.Settings()
	p := settingsPage{
		frame: s.newFrame(r, "Settings"), From: settings.From, BaseURL: settings.BaseURL, Zone: settings.Zone.String(), SendHour: settings.SendHour,
		MailReachesOwners: s.MailReachesOwners, Hosts: strings.Join(s.Hosts, ", "), Policy: settings.Policy,
	}
	p.Here = "more"
	for _, i := range settings.Policy.Intervals {
		p.Intervals = append(p.Intervals, intervalLine{i.Task, everyWords(i), intervalFor(i), i.Source, i.Grade})
	}
	return s.render(w, http.StatusOK, "settings", p)
}

func everyWords(i loops.Interval) string {
	if i.First {
		return "once, " + i.String() + " after the fill"
	}
	return "every " + i.String()
}

// intervalFor says which loops an interval is for.
func intervalFor(i loops.Interval) string {
	parts := acts.Texts(i.Machines)
	var fluids []string
	for _, f := range i.Fluids {
		fluids = append(fluids, f.Name())
	}
	if len(fluids) > 0 {
		parts = append(parts, "with "+strings.Join(fluids, " or "))
	}
	if i.Sealed != nil {
		parts = append(parts, map[bool]string{true: "sealed", false: "open"}[*i.Sealed])
	}
	if len(parts) == 0 {
		return "all loops"
	}
	return strings.Join(parts, ", ")
}

// morePage leads to the pages that are opened less often.
type morePage struct {
	frame
	Trust bool // phones can be told to trust the bench
}

func (s *server) pageMore(w http.ResponseWriter, r *http.Request) error {
	p := morePage{s.newFrame(r, "More"), s.BenchAt != ""}
	p.Here = "more"
	return s.render(w, http.StatusOK, "more", p)
}
