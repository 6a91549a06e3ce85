// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"math"
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
	// Was and Is are how warm its processor was before and is after, at the same
	// power and in the same room; empty where no proof stands that says it.
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
	p.Stands = howItStands(p.Home.words, file, back)
	if p.KeptOff {
		house := notify.Workshop{Phone: p.Phone, From: s.Workshop.Settings().From}
		p.Machine.Steps = notify.Guide{}.KeepOff(p.Home.words, house.ReachOnPaper(p.Home.words)).Steps
	}
	if r := file.Readings; r != nil && r.Proof != nil && r.Proof.Day == file.Loop.State.Proved && r.Proof.Proof != nil {
		is := func(c float64) string {
			return p.Home.words.Figures(notify.InOwnersUnits(figure(math.Round(c), "°C"), file.Owner.Units))
		}
		for _, e := range visit {
			if e.Kind == loops.KindProof && e.Day == r.Proof.Day && e.Proof.After.Die != nil {
				p.Was, p.Is = is(float64(r.Proof.Proof.DieBefore)), is(float64(*e.Proof.After.Die))
			}
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
