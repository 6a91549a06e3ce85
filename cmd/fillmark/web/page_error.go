// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"

	"fillmark/cmd/fillmark/signin"
	"fillmark/loops"
	"fillmark/notify/links"
)

// errorPage says what is wrong and what to do.
type errorPage struct {
	frame
	Heading  string
	Message  string
	Problems []Problem
	Advice   string
}

// fail writes the plain page for an error and logs what nobody foresaw.
func (s *server) fail(w http.ResponseWriter, r *http.Request, err error) {
	status, failure := failureOf(err)
	p := errorPage{frame: s.newFrame(r, ""), Message: failure.Message, Problems: failure.Problems}
	switch {
	case errors.Is(err, links.ErrInvalid):
		p.Heading = p.Say("page.dead.heading")
		p.Message = p.Say("page.dead.message")
		p.Advice = p.Say("page.dead.advice")
	case errors.Is(err, signin.ErrLink):
		p.Heading = "This link sets no password any more"
		p.Message = "It works once, and for an hour."
		p.Advice = "Ask whoever looks after the computer that Fillmark runs on for a new one."
	case status == http.StatusUnauthorized:
		p.Heading = "Sign in first"
		p.Message = "Nobody is signed in here any more, and nothing was changed."
		p.Advice = "Sign in in another window, then send it again: " + stillTyped(r) + "."
	case errors.Is(err, errSite):
		p.Heading = "Not from another site"
		p.Advice = "Open the page here and send it from here."
	case status == http.StatusForbidden:
		p.Heading = "This is not possible from here"
		p.Advice = "Use the command on the computer that Fillmark runs on, or the address that the workshop gave you."
	case status == http.StatusTooManyRequests:
		p.Heading = p.Say("page.many.heading")
		p.Advice = p.Say("page.many.advice")
	case status == http.StatusNotFound:
		p.Heading = "Nothing is here"
		p.Message = "This address belongs to no page and no record."
		p.Advice = "Check the six symbols of the tag, or search the loops by owner or machine."
		if !p.Bench {
			p.Heading, p.Message, p.Advice = p.Say("page.nothing.heading"), p.Say("page.nothing.message"), p.Say("page.nothing.advice")
		}
	case status == http.StatusInternalServerError:
		p.Heading = p.Say("page.fault.heading")
		p.Message = p.Say("page.fault.message")
		p.Advice = "Try once more. The program's log says what happened."
		if loops.NoWrite(err) && p.Bench {
			p.Message, p.Advice = "Nothing was put down: "+failure.Message+".", "Then send it again: "+stillTyped(r)+"."
			if errors.Is(err, loops.ErrGone) {
				p.Message = "Nothing was put down: " + loops.ErrGone.Error() + "."
				p.Advice = "The doctor's page says how to bring it back. Then send it again: " + stillTyped(r) + "."
			}
		}
		s.Log.Error("page failed", "pattern", r.Pattern, "error", err)
	case status == http.StatusServiceUnavailable:
		p.away(r, err)
		s.Log.Error("page failed", "pattern", r.Pattern, "error", err)
	case status == http.StatusConflict:
		p.Heading = "The record changed meanwhile"
		p.Advice = "Open the page again and repeat what you did."
	default:
		p.Heading = p.Say("page.wrong.heading")
		p.Advice = p.Say("page.wrong.advice")
	}
	if !p.Bench && status == http.StatusInternalServerError {
		p.Advice = p.Say("page.fault.advice")
	}
	p.Title = p.Heading
	setRetryAfter(w, err)
	if err := s.render(w, status, "error", p); err != nil {
		s.Log.Error("the error page failed", "pattern", r.Pattern, "error", err)
		http.Error(w, p.Heading, status)
	}
}

// stillTyped says where what was typed is to be had again. A job sheet keeps it on
// the device; other pages are not stored, and the browser sends it once more.
func stillTyped(r *http.Request) string {
	if r.PostForm.Get("page") == refillForm {
		return "go back, what was typed is still there"
	}
	return "keep this page open and load it again, and the browser sends what was typed"
}

// away says that the register's database does not answer, and whether something
// may have been put down.
func (p *errorPage) away(r *http.Request, err error) {
	unsettled := errors.Is(err, loops.ErrUnsettled)
	switch {
	case !p.Bench:
		p.Heading, p.Message, p.Advice = p.Say("page.fault.heading"), p.Say("page.fault.message"), p.Say("page.fault.advice")
		if unsettled {
			p.Heading, p.Message = p.Say("page.away.heading"), p.Say("page.away.message")
		}
	case unsettled:
		p.Heading = "Nobody knows whether that was put down"
		p.Message = "The register's database stopped answering just then."
		p.Advice = "Wait a minute and look whether it is on record. Where it is not, send it again: " + stillTyped(r) + "."
	case r.Method != http.MethodPost:
		p.Heading = "The register's database does not answer"
		p.Message = "The page can be shown once it does."
		p.Advice = "Try once more in a minute. If it stays so, somebody has to look after the database; the program goes on by itself then."
	default:
		p.Heading = "The register's database does not answer"
		p.Message = "Nothing was put down."
		p.Advice = "Try once more in a minute: " + stillTyped(r) + ". If it stays so, somebody has to look after the database; the program goes on by itself then."
	}
}

// pageUnknown answers addresses that belong to no page.
func (s *server) pageUnknown(http.ResponseWriter, *http.Request) error { return loops.ErrNotFound }
