// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// outboxPage lists the mail, the newest first.
type outboxPage struct {
	frame
	Status            string
	Statuses          []choice
	Messages          []outboxLine
	More              bool
	MailReachesOwners bool
	GivenUp           []loops.Suppression
}

// outboxLine is one message in the list.
type outboxLine struct {
	loops.Message
	Day  loops.Day
	Link string
}

func (s *server) pageOutbox(w http.ResponseWriter, r *http.Request) error {
	status := loops.MessageStatus(r.URL.Query().Get("status"))
	if status != "" && !slices.Contains(loops.MessageStatuses(), status) {
		return &loops.InvalidError{Field: "status", Value: string(status), Reason: "one of the list"}
	}
	p := outboxPage{frame: s.newFrame(r, "Outbox"), Status: string(status), MailReachesOwners: s.MailReachesOwners, Statuses: choicesOf("all", loops.MessageStatuses())}
	p.Here = "more"
	for i := range p.Statuses {
		p.Statuses[i].On = p.Statuses[i].Value == p.Status
	}
	for m, err := range s.Reader.Messages(status) {
		if err != nil {
			return err
		}
		if len(p.Messages) == perPage {
			p.More = true
			break
		}
		p.Messages = append(p.Messages, s.outboxLine(m))
	}
	for x, err := range s.Reader.Suppressions() {
		if err != nil {
			return err
		}
		p.GivenUp = append(p.GivenUp, x)
	}
	return s.render(w, http.StatusOK, "outbox", p)
}

func (s *server) outboxLine(m loops.Message) outboxLine {
	return outboxLine{m, loops.DayOf(m.Created, s.Workshop.Settings().Zone), "/outbox/message?key=" + url.QueryEscape(string(m.Key))}
}

// messagePage shows one message as its reader sees it, and what can be done
// with it.
type messagePage struct {
	frame
	Line    outboxLine
	Text    string
	Actions []messageAction
	Next    string // when it is tried next; empty where it is not
	Tried   string // how often; empty where it was not yet
}

// messageAction is one button.
type messageAction struct {
	Do    workshop.OutboxAction
	Label string
	First bool
}

func (s *server) pageMessage(w http.ResponseWriter, r *http.Request) error {
	m, err := s.Reader.Message(loops.MessageKey(r.URL.Query().Get("key")))
	if err != nil {
		return err
	}
	p := messagePage{frame: s.newFrame(r, m.Subject), Line: s.outboxLine(m), Actions: messageActions(m.Status)}
	p.Here = "more"
	if m.Status == loops.Queued && !m.NextAttempt.IsZero() {
		p.Next = m.NextAttempt.In(s.Workshop.Settings().Zone).Format("Mon 2 Jan 2006 15:04 MST")
	}
	if m.Attempts > 0 {
		p.Tried = loops.Count(m.Attempts, "time")
	}
	preview, err := notify.ReadPreview(m.Raw)
	p.Text = preview.Text
	if err != nil {
		p.Text = "Its text cannot be read: " + err.Error()
	}
	return s.render(w, http.StatusOK, "message", p)
}

// messageActions are the buttons that a message of the status can have.
func messageActions(status loops.MessageStatus) []messageAction {
	switch status {
	case loops.Queued:
		return []messageAction{{workshop.Retry, "Try now", true}, {workshop.Hold, "Hold", false}, {workshop.Drop, "Drop", false}}
	case loops.Held:
		return []messageAction{{workshop.Release, "Release", true}, {workshop.Drop, "Drop", false}}
	case loops.Refused, loops.Expired:
		return []messageAction{{workshop.Retry, "Try again", true}}
	}
	return nil
}

func (s *server) actOnMessage(w http.ResponseWriter, r *http.Request) error {
	f, err := postedForm(r)
	if err != nil {
		return err
	}
	key := f.text("key")
	err = s.Workshop.ActOnMessage(s.stamp(r), workshop.OutboxAction(f.text("do")), loops.MessageKey(key))
	// Where it moved on meanwhile the page shows how it stands now.
	var moved *workshop.MovedOnError
	if err != nil && !errors.As(err, &moved) {
		return err
	}
	s.Wake()
	http.Redirect(w, r, "/outbox/message?key="+url.QueryEscape(key), http.StatusSeeOther)
	return nil
}
