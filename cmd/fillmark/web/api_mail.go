// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"io"
	"iter"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// suppressions is what the API reads of addresses that were given up.
type suppressions interface {
	Suppressions() iter.Seq2[loops.Suppression, error]
}

// MessageAction is what a technician does with a message.
type MessageAction struct {
	Key    loops.MessageKey      `json:"key"`
	Action workshop.OutboxAction `json:"action"`
}

// doToMessage acts and answers the message as it is then, without its text.
func (s *server) doToMessage(stamp workshop.Stamp, asked MessageAction) (m loops.Message, err error) {
	if err = s.Workshop.ActOnMessage(stamp, asked.Action, asked.Key); err != nil {
		return m, err
	}
	m, err = s.Reader.Message(asked.Key)
	m.Raw = nil
	return m, err
}

func (s *server) messages(status loops.MessageStatus) (list[loops.Message], error) {
	return gather(s.Reader.Messages(status))
}

func (s *server) message(key string) (loops.Message, error) {
	return s.Reader.Message(loops.MessageKey(key))
}

// AllowedAddress is an address that mail may go to again, or the day on which all
// of them were given up.
type AllowedAddress struct {
	Address   string    `json:"address,omitempty"`
	GivenUpOn loops.Day `json:"given_up_on,omitzero"`
	// Addresses are those that mail may go to now; answered and never asked.
	Addresses []string `json:"addresses,omitempty"`
}

func (s *server) allow(stamp workshop.Stamp, asked AllowedAddress) (AllowedAddress, error) {
	if asked.Address == "" && !asked.GivenUpOn.IsZero() {
		var err error
		asked.Addresses, err = s.Workshop.AllowDay(stamp, asked.GivenUpOn)
		return asked, err
	}
	if err := loops.CheckEmail("address", asked.Address); err != nil {
		return asked, err
	}
	asked.Addresses = []string{asked.Address}
	return asked, s.Workshop.Allow(stamp, asked.Address)
}

// BounceAnswer is what a mail that came back led to.
type BounceAnswer struct {
	workshop.Bounced
	// Ignored says why nothing changed; empty where something did.
	Ignored string `json:"ignored,omitempty"`
}

// bounce reads a mail that came back.
func (s *server) bounce(stamp workshop.Stamp, mail io.Reader) (BounceAnswer, error) {
	out, err := s.Workshop.Bounce(stamp, mail)
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

func (s *server) letter(stamp workshop.Stamp, tag loops.Tag) (LetterAnswer, error) {
	letter, err := s.Workshop.Printed(stamp, tag)
	return LetterAnswer{letter.Text, letter.HTML}, err
}
