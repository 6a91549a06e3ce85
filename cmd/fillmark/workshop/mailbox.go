// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
)

// mailbox is what the actions about mail use of the store.
type mailbox interface {
	Loops() iter.Seq2[loops.Loop, error]
	Messages(loops.MessageStatus) iter.Seq2[loops.Message, error]
	Waiting() iter.Seq2[loops.Message, error]
	Suppression(address string) (loops.Suppression, error)
	Suppressions() iter.Seq2[loops.Suppression, error]
	Suppress(x loops.Suppression, by string) error
	Unsuppress(address, by string, at time.Time) error
	RefusedInARow(address string) (int, error)
	MarkBounced(key loops.MessageKey, at time.Time, f loops.Failure) error
	Requeue(key loops.MessageKey, by string, at time.Time) error
	Hold(key loops.MessageKey, by string, at time.Time) error
	Release(key loops.MessageKey, by string, at time.Time) error
	Drop(key loops.MessageKey, by string, at time.Time) error
}

// mailFault says why mail does not reach the owner; empty where it does.
func (w *Workshop) mailFault(o loops.Owner) (string, error) {
	if o.Email == "" {
		return "", nil
	}
	if !loops.Mailable(o.Email) { // of a register that took such
		return "few mail systems take accented letters before the @; ask whether the mailbox has a plain name too", nil
	}
	x, err := w.register.Suppression(o.Email)
	if errors.Is(err, loops.ErrNotFound) {
		return "", nil
	}
	return whyGivenUp(x), err
}

// whyGivenUp says why nothing goes to an address, and what to ask its owner for.
func whyGivenUp(x loops.Suppression) string {
	words, ask := notify.FailureInWords(x.Status)
	if x.Status == "" && x.Reason != "" {
		words = strings.TrimRight(x.Reason, ".")
	}
	return words + "; " + ask
}

// OutboxAction is what a technician does with a message.
type OutboxAction string

// The actions. Retry offers again at once what waits, was refused or expired.
const (
	Retry   OutboxAction = "retry"
	Hold    OutboxAction = "hold"
	Release OutboxAction = "release"
	Drop    OutboxAction = "drop"
)

// MovedOnError refuses an action for a message that is not, or no longer, in a
// status that it is for.
type MovedOnError struct{ refusal *loops.InvalidError }

// Error says which messages the action is for and what this one is.
func (e *MovedOnError) Error() string { return e.refusal.Error() }

// Unwrap returns the [loops.InvalidError] that names the message and its status.
func (e *MovedOnError) Unwrap() error { return e.refusal }

// ActOnMessage does what a technician asks for with one message; one that the
// action is not for is a [MovedOnError].
func (w *Workshop) ActOnMessage(s Stamp, action OutboxAction, key loops.MessageKey) error {
	act, ok := map[OutboxAction]func(loops.MessageKey, string, time.Time) error{
		Retry: w.register.Requeue, Hold: w.register.Hold, Release: w.register.Release, Drop: w.register.Drop,
	}[action]
	if !ok {
		return &loops.InvalidError{Field: "action", Value: string(action), Reason: "retry, hold, release or drop"}
	}
	if action == Retry {
		m, err := w.register.Message(key)
		if err != nil {
			return err
		}
		if len(m.Raw) == 0 {
			return &loops.InvalidError{Field: "key", Value: string(key), Reason: "a message whose text is still there; this one's has been deleted"}
		}
	}
	err := act(key, s.By, s.At)
	if errors.Is(err, loops.ErrConflict) {
		m, err := w.register.Message(key)
		if err != nil {
			return err
		}
		takes := map[OutboxAction]string{
			Retry: "waits, was refused or has expired", Hold: "waits", Release: "is held", Drop: "waits or is held",
		}[action]
		return &MovedOnError{&loops.InvalidError{Field: "key", Value: string(key), Reason: fmt.Sprintf("a message that %s; this one is %s", takes, m.Status)}}
	}
	return err
}

// Allow lets mail go again to an address that was given up.
func (w *Workshop) Allow(s Stamp, address string) error {
	return w.register.Unsuppress(address, s.By, s.At)
}

// AllowDay lets mail go again to every address that was given up on the day, in
// the workshop's zone: a relay that refused everybody took them all at once. It
// returns the addresses.
func (w *Workshop) AllowDay(s Stamp, day loops.Day) ([]string, error) {
	var all []string
	for x, err := range w.register.Suppressions() {
		if err != nil {
			return nil, err
		}
		if loops.DayOf(x.Since, w.settings.Zone) == day {
			all = append(all, x.Address)
		}
	}
	if len(all) == 0 {
		return nil, &loops.InvalidError{Field: "given-up-on", Value: day.String(), Reason: "a day on which an address was given up; outbox allow lists them"}
	}
	for _, address := range all {
		if err := w.Allow(s, address); err != nil && !errors.Is(err, loops.ErrNotFound) {
			return nil, err
		}
	}
	return all, nil
}

// Bounced is what a report of failed delivery led to.
type Bounced struct {
	Message loops.MessageKey `json:"message"`
	Reason  string           `json:"reason"`
	// GivenUp tells that nothing is sent to the address any more.
	GivenUp bool `json:"given_up"`
	// Canary tells that it was our letter to ourselves, which came.
	Canary bool `json:"canary,omitempty"`
}

// ErrForeignBounce says that a report is about no message of ours, or not to be
// believed: nothing changed.
var ErrForeignBounce = errors.New("the report is about no message that this workshop sent")

// bounceAge is how long after a message a report about it still counts.
const bounceAge = 60 * 24 * time.Hour

// Bounce reads a report of failed delivery and marks the message, and the
// address where the rules say so. Only a report sent to an envelope address
// that this workshop made counts. [notify.ErrNotBounce] and
// [ErrForeignBounce] say that nothing changed.
func (w *Workshop) Bounce(s Stamp, r io.Reader) (Bounced, error) {
	if w.settings.ReturnPath == nil {
		return Bounced{}, &loops.InvalidError{Field: "mail.bounce_address", Value: "", Reason: "the address that mail comes back to: none is set, so no mail that left can be told from others"}
	}
	raw, err := io.ReadAll(r)
	if err != nil {
		return Bounced{}, fmt.Errorf("bounce: %w", err)
	}
	report, err := notify.ReadBounce(bytes.NewReader(raw))
	if errors.Is(err, notify.ErrNotBounce) {
		if came, err := w.canaryCame(s, raw); came || err != nil {
			return Bounced{Canary: came}, err
		}
	}
	if err != nil {
		return Bounced{}, err
	}
	failed, ok := report.Failed()
	if !ok {
		return Bounced{}, notify.ErrNotBounce
	}
	m, err := w.messageOf(report, s.At)
	if err != nil {
		return Bounced{}, err
	}
	out := Bounced{Message: m.Key, Reason: strings.TrimSpace(loops.CameBack + failed.Status + " " + failed.Diagnostic)}
	erased := m.To == ""
	if erased { // what the report says is about somebody who is not on record any more
		out.Reason = loops.CameBack
	}
	if err := w.register.MarkBounced(m.Key, s.At, loops.Failure{Reason: out.Reason, Status: failed.Status}); err != nil && !errors.Is(err, loops.ErrConflict) {
		return Bounced{}, fmt.Errorf("bounce: %w", err)
	}
	if erased {
		return out, nil
	}
	inARow, err := w.register.RefusedInARow(m.To)
	if err != nil {
		return Bounced{}, fmt.Errorf("bounce: %w", err)
	}
	if out.GivenUp = notify.Suppresses(failed.Status, inARow) && m.Purpose != loops.PurposeCanary; out.GivenUp {
		err = w.register.Suppress(loops.Suppression{Address: m.To, Reason: out.Reason, Status: failed.Status, Since: s.At}, s.By)
	}
	return out, err
}

// messageOf finds the message that a report was sent for.
func (w *Workshop) messageOf(report notify.Bounce, now time.Time) (loops.Message, error) {
	for _, address := range report.To {
		hash, ok := w.settings.ReturnPath.Open(address)
		if !ok {
			continue
		}
		for m, err := range w.register.Messages("") {
			if err != nil {
				return loops.Message{}, err
			}
			if now.Sub(m.Created) > bounceAge {
				break // the rest is older still
			}
			if notify.MessageHash(m.Key) == hash {
				return m, nil
			}
		}
	}
	return loops.Message{}, ErrForeignBounce
}
