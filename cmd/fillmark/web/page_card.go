// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"net/http"
	"net/netip"
	"net/url"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/drawing"
	"fillmark/loops"
	"fillmark/notify"
)

// cardPage is one printed page that goes home with a machine: what it was, what
// it is, how to look, the next day, and a way to us.
type cardPage struct {
	handoverPage
	// Home says what the owner reads, in their language; the frame is the bench's.
	Home spoken
	// Was and Is are how warm it got before and after; empty where nobody measured.
	Was, Is string
	Gauge   *gauge // nil where its freeze point is not known
	// Coming is the next task whose day is still to come, Then what it is in the
	// owner's words; nil for none.
	Coming *loops.Task
	Then   string
	// QR is the owner's own link; nil where pages have no public address, and
	// Setting then is the one that is missing.
	QR      *drawing.QR
	Setting string
}

func (s *server) pageCard(w http.ResponseWriter, r *http.Request) error {
	whole, err := s.fileOf(r)
	if err != nil {
		return err
	}
	file := whole.ForOwner()
	if file.Owner.ID == 0 {
		return &loops.InvalidError{Field: "tag", Value: string(file.Loop.Tag), Reason: "a loop of an owner; a donor unit goes home with nobody"}
	}
	p := cardPage{handoverPage: s.handoverPage(r, file), Home: s.spokenTo(file.Owner)}
	p.Machine.spoken, p.Gauge = p.Home, gaugeOf(p.Home, file.Protection)
	p.Title = "Card " + string(file.Loop.Tag)
	visit, back := lastVisit(file.View.Entries())
	p.Proved = proved(p.Home.words, file, back)
	for _, e := range visit {
		if e.Kind == loops.KindProof && e.Proof.Before.Die != nil && e.Proof.After.Die != nil {
			p.Was = p.Home.words.Figures(notify.InOwnersUnits(figure(float64(*e.Proof.Before.Die), "°C"), file.Owner.Units))
			p.Is = p.Home.words.Figures(notify.InOwnersUnits(figure(float64(*e.Proof.After.Die), "°C"), file.Owner.Units))
		}
	}
	if p.Coming = comingTask(workshop.NextTasks(file.Loop.Plan), p.Today); p.Coming != nil {
		p.Then = p.Home.words.Recorded(taskForOwner(p.Coming.Kind))
	}
	if !s.Workshop.Reached() {
		p.Setting = "base_url"
		return s.render(w, http.StatusOK, "card", p)
	}
	if p.QR, err = drawing.NewQR(s.Workshop.Settings().BaseURL + s.Workshop.CardPath(file.Owner, s.Now())); err != nil {
		return err
	}
	return s.render(w, http.StatusOK, "card", p)
}

// comingTask is the first task whose day has not passed: a day that has is never
// "next".
func comingTask(tasks []loops.Task, today loops.Day) *loops.Task {
	for i, t := range tasks {
		if !t.Due.Before(today) {
			return &tasks[i]
		}
	}
	return nil
}

// benchQR is the code of a page of ours for whoever stands before the machine,
// with a phone in the workshop's network. It is nil where the address leads that
// phone to itself: pages then name the setting.
func (s *server) benchQR(path string) (*drawing.QR, error) {
	if s.BenchAt != "" {
		return drawing.NewQR(s.BenchAt + path)
	}
	settings := s.Workshop.Settings()
	if !settings.ReadHere {
		base, err := url.Parse(settings.BaseURL)
		if err != nil || base.Hostname() == "" || base.Hostname() == "localhost" {
			return nil, nil
		}
		if ip, err := netip.ParseAddr(base.Hostname()); err == nil && (ip.IsLoopback() || ip.IsUnspecified()) {
			return nil, nil
		}
	}
	return drawing.NewQR(settings.BaseURL + path)
}
