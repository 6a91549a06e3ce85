// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"iter"
	"net/http"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// mailRoutes lists the routes about mail beyond reading the outbox.
func (s *server) mailRoutes(mux router) {
	mux.Handle("POST /api/v1/outbox/message", s.api(s.apiActOnMessage))
	mux.Handle("GET /api/v1/suppressed", s.api(s.apiSuppressed))
	mux.Handle("POST /api/v1/suppressed/allow", s.api(s.apiAllow))
	mux.Handle("POST /api/v1/bounces", s.api(s.apiBounce))
	mux.Handle("GET /api/v1/loops/{tag}/letter", s.api(s.apiLetter))
}

// suppressions is what the API reads of addresses that were given up.
type suppressions interface {
	Suppressions() iter.Seq2[loops.Suppression, error]
}

// MessageAction is what a technician does with a message.
type MessageAction struct {
	Key    loops.MessageKey      `json:"key"`
	Action workshop.OutboxAction `json:"action"`
}

// apiActOnMessage acts and answers the message as it is then, without its text.
func (s *server) apiActOnMessage(r *http.Request) (any, error) {
	asked, err := decode[MessageAction](r)
	if err != nil {
		return nil, err
	}
	if err := s.Workshop.ActOnMessage(s.stamp(r), asked.Action, asked.Key); err != nil {
		return nil, err
	}
	m, err := s.Reader.Message(asked.Key)
	m.Raw = nil
	return m, err
}

func (s *server) apiSuppressed(*http.Request) (any, error) {
	return gather(s.Reader.Suppressions())
}

// AllowedAddress is an address that mail may go to again.
type AllowedAddress struct {
	Address string `json:"address"`
}

func (s *server) apiAllow(r *http.Request) (any, error) {
	asked, err := decode[AllowedAddress](r)
	if err != nil {
		return nil, err
	}
	if err := loops.CheckEmail("address", asked.Address); err != nil {
		return nil, err
	}
	return asked, s.Workshop.Allow(s.stamp(r), asked.Address)
}

// BounceAnswer is what a mail that came back led to.
type BounceAnswer struct {
	workshop.Bounced
	// Ignored says why nothing changed; empty where something did.
	Ignored string `json:"ignored,omitempty"`
}

// apiBounce reads a mail as it stands in the request's body.
func (s *server) apiBounce(r *http.Request) (any, error) {
	out, err := s.Workshop.Bounce(s.stamp(r), r.Body)
	if errors.Is(err, notify.ErrNotBounce) || errors.Is(err, workshop.ErrForeignBounce) {
		return BounceAnswer{Ignored: err.Error()}, nil
	}
	return BounceAnswer{Bounced: out}, err
}

// LetterAnswer is a letter on paper.
type LetterAnswer struct {
	Text string `json:"text"`
	HTML string `json:"html"`
}

func (s *server) apiLetter(r *http.Request) (any, error) {
	tag, err := tagOf(r)
	if err != nil {
		return nil, err
	}
	letter, err := s.Workshop.Printed(s.stamp(r), tag)
	return LetterAnswer{letter.Text, letter.HTML}, err
}
