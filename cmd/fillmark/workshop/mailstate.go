// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"
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
	// nobody was asked to take, or that were put off or held while the relay took
	// none at all; Since is when the first of them was written, and Why what was put
	// down last.
	Stuck int
	Since time.Time
	Why   string
}

// stuckAfter is how long a message may wait for its first offer. A sweep comes
// every few minutes, and a relay that is at fault is left alone for a quarter of
// an hour at a time.
const stuckAfter = 2 * time.Hour

// Waiting reads the messages that are queued.
func (w *Workshop) Waiting() ([]loops.Message, error) { return gather(w.register.Waiting()) }

// MailStateOf is the state with those messages queued, and those written last. It
// works from what is stored, so that a mail system that has stood for days is known
// at once after a start.
func MailStateOf(waiting, latest []loops.Message, at time.Time) (s MailState) {
	for _, m := range waiting {
		s.Waiting++
		if s.Oldest.IsZero() || m.Created.Before(s.Oldest) {
			s.Oldest = m.Created
		}
		if m.Attempts == 0 && at.Sub(m.Created) >= stuckAfter { // else its recipient was asked, or it is early days
			s.stuck(m)
		}
	}
	for _, m := range putOff(waiting, latest, at) {
		s.stuck(m)
	}
	return s
}

func (s *MailState) stuck(m loops.Message) {
	s.Stuck++
	if s.Since.IsZero() || m.Created.Before(s.Since) {
		s.Since = m.Created
	}
	if m.LastError != "" {
		s.Why = m.LastError
	}
}

// putOff are the messages that wait for long although the relay was asked, where
// they are for two recipients or more and it took no other since they were written:
// of one mailbox that puts a letter off the relay knows nothing. Those of the latest
// are among them that are held since the replies to them were lost.
func putOff(waiting, latest []loops.Message, at time.Time) []loops.Message {
	var off []loops.Message
	var took time.Time
	for _, m := range waiting {
		if m.Attempts > 0 {
			off = append(off, m)
		}
	}
	for _, m := range latest {
		switch {
		case m.Taken() && m.LastAttempt.After(took):
			took = m.LastAttempt
		case m.Status == loops.Held && m.Unsure:
			off = append(off, m)
		}
	}
	off = slices.DeleteFunc(off, func(m loops.Message) bool { return at.Sub(m.Created) < stuckAfter || !m.Created.After(took) })
	to := map[string]bool{}
	for _, m := range off {
		to[m.To] = true
	}
	if len(to) < 2 {
		return nil
	}
	return off
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
	said := fmt.Sprintf("No mail has left since %s: %s are waiting", s.Since.In(zone).Format("Mon 2 Jan 2006 15:04 MST"), loops.CountOrNo(s.Stuck, "letter"))
	if s.Stuck == 1 {
		said = fmt.Sprintf("No mail has left since %s: 1 letter is waiting", s.Since.In(zone).Format("Mon 2 Jan 2006 15:04 MST"))
	}
	return said + ". " + loops.Visible(why) + "."
}
