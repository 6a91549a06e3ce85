// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"time"

	"fillmark/loops"
)

// MailState is how the outbox stands.
type MailState struct {
	Waiting int
	// Oldest is when the longest waiting message was written; zero where none
	// waits.
	Oldest time.Time
	// Stuck counts the messages that should have left [stuckAfter] ago and that
	// nobody was asked to take; Since is when the first of them was written, and
	// Why what was put down last.
	Stuck int
	Since time.Time
	Why   string
}

// stuckAfter is how long a message may wait for its first offer. A sweep comes
// every few minutes, and a relay that is at fault is left alone for a quarter of
// an hour at a time.
const stuckAfter = 2 * time.Hour

// MailState reads the queue. It works from what is stored, so that a mail system
// that has stood for days is known at once after a start.
func (w *Workshop) MailState(at time.Time) (MailState, error) {
	waiting, err := gather(w.register.Waiting())
	return MailStateOf(waiting, at), err
}

// MailStateOf is the state with those messages queued.
func MailStateOf(waiting []loops.Message, at time.Time) (s MailState) {
	for _, m := range waiting {
		s.Waiting++
		if s.Oldest.IsZero() || m.Created.Before(s.Oldest) {
			s.Oldest = m.Created
		}
		if m.Attempts > 0 || at.Sub(m.Created) < stuckAfter {
			continue // its recipient was asked, or it is early days
		}
		s.Stuck++
		if s.Since.IsZero() || m.Created.Before(s.Since) {
			s.Since = m.Created
		}
		if m.LastError != "" {
			s.Why = m.LastError
		}
	}
	return s
}

// Trouble says in a sentence that mail does not leave; empty while it does.
func (s MailState) Trouble(zone *time.Location) string {
	if s.Stuck == 0 {
		return ""
	}
	why := s.Why
	if why == "" {
		why = "nothing has tried to send it"
	}
	said := fmt.Sprintf("No mail leaves since %s: %s wait for it", s.Since.In(zone).Format("Mon 2 Jan 2006 15:04 MST"), counted(s.Stuck, "letter"))
	if s.Stuck == 1 {
		said = fmt.Sprintf("No mail leaves since %s: 1 letter waits for it", s.Since.In(zone).Format("Mon 2 Jan 2006 15:04 MST"))
	}
	return said + ". " + loops.Visible(why) + "."
}
