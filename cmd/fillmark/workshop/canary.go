// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// MailCanary queues the workshop's letter to itself once a day, from the sending
// hour on, where a mailbox for it is set. It tells whether it did.
func (w *Workshop) MailCanary(s Stamp) (bool, error) {
	day := loops.DayOf(s.At, w.settings.Zone)
	if w.settings.Canary == 0 || s.At.Before(schedule.SendableAt(day, w.settings.SendHour, w.settings.Zone)) {
		return false, nil
	}
	w.acting.Lock()
	defer w.acting.Unlock()
	state, err := w.register.Canary()
	if err != nil || loops.DayOf(state.Sent, w.settings.Zone) == day {
		return false, err
	}
	message, err := w.canaryMessage(w.newLetter(canaryKey(day), s.At))
	if err != nil {
		return false, fmt.Errorf("canary: %w", err)
	}
	err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "canary", Messages: []loops.Message{message}})
	if err != nil && !errors.Is(err, loops.ErrRepeated) { // of a day that ended between the two writes
		return false, err
	}
	return true, w.register.PutCanary(state.WithSent(s.At))
}

func canaryKey(day loops.Day) loops.MessageKey {
	return loops.NewMessageKey(0, day, loops.PurposeCanary, "")
}

// canaryMessage writes the letter. It goes to its own return path, which nobody
// else can make.
func (w *Workshop) canaryMessage(as writing) (loops.Message, error) {
	letter, err := notify.ComposeCanary(notify.CanaryInput{
		Workshop: w.sender(), To: w.settings.ReturnPath.For(as.key), Day: loops.DayOf(as.at, w.settings.Zone),
		Date: as.at.In(w.settings.Zone), MessageID: as.id, Instead: w.earlier(as, w.settings.Zone),
	})
	if err != nil {
		return loops.Message{}, err
	}
	return as.message(letter, 0, loops.PurposeCanary, as.at.Add(20*time.Hour), nil), nil
}

// canaryAgain is the letter of the day; yesterday's tells nothing any more.
func (w *Workshop) canaryAgain(m loops.Message, as writing) (is loops.Message, why string, err error) {
	switch {
	case w.settings.Canary == 0:
		return is, "the workshop sends itself no letters any more", nil
	case w.dayFor(m, as.at) != w.dayFor(m, m.Created):
		return is, "its day is over; the next day's tells as much", nil
	}
	is, err = w.canaryMessage(as)
	return is, "", err
}

// IsCanary tells from its header whether a mail is one of our letters to
// ourselves. An answer to one, or a report about one, is none.
func (w *Workshop) IsCanary(head []byte, at time.Time) (bool, error) {
	m, err := w.canaryOf(head, at)
	return m != nil, err
}

// canaryOf finds the letter to ourselves that a mail is; nil where it is none.
func (w *Workshop) canaryOf(raw []byte, at time.Time) (*loops.Message, error) {
	arrival, err := notify.ReadArrival(bytes.NewReader(raw))
	if err != nil || w.settings.ReturnPath == nil {
		return nil, nil // no mail at all, or none that can be ours
	}
	for _, address := range arrival.To {
		hash, ours := w.settings.ReturnPath.Open(address)
		if !ours {
			continue
		}
		for back := range int(bounceAge / (24 * time.Hour)) {
			key := canaryKey(loops.DayOf(at, w.settings.Zone).AddDays(-back))
			if notify.MessageHash(key) != hash {
				continue
			}
			m, err := w.register.MessageHead(key)
			if errors.Is(err, loops.ErrNotFound) || err == nil && w.messageID(m) != arrival.MessageID {
				continue
			}
			return &m, err
		}
	}
	return nil, nil
}

// canaryCame takes in a mail that is one of our letters to ourselves, its
// signature whole: what spoils that spoils the owners' letters too.
func (w *Workshop) canaryCame(s Stamp, raw []byte) (bool, error) {
	m, err := w.canaryOf(raw, s.At)
	if m == nil || err != nil {
		return false, err
	}
	if w.settings.Ours != nil {
		if err := w.settings.Ours(raw); err != nil {
			return false, fmt.Errorf("%w: it is our letter to ourselves, and was changed on its way: %w", notify.ErrNotBounce, err)
		}
	}
	w.acting.Lock()
	defer w.acting.Unlock()
	state, err := w.register.Canary()
	if err != nil {
		return false, err
	}
	return true, w.register.PutCanary(state.WithArrived(m.Created, s.At))
}

// CanaryState returns how far the letters to ourselves have come, and whether
// any are sent.
func (w *Workshop) CanaryState() (state loops.Canary, sent bool, err error) {
	state, err = w.register.Canary()
	return state, w.settings.Canary > 0, err
}

// SendsCanary tells whether letters to ourselves are sent.
func (w *Workshop) SendsCanary() bool { return w.settings.Canary > 0 }

// CanaryTrouble says that the letters to ourselves do not come, and what to do; both
// are empty while they do.
func (w *Workshop) CanaryTrouble(state loops.Canary, now time.Time) (reason, remedy string) {
	const advice = "Bounces may not be seen either. Look at what became of it in the Outbox, at the mailbox of mail.bounce_address, and at how its mail gets " +
		"here: by mail.imap, by mail.bounce_maildir or by a command of the mail system."
	if !w.SendsCanary() || state.Waiting.IsZero() || now.Sub(state.Waiting) <= w.settings.Canary {
		return "", ""
	}
	day := loops.DayOf(state.Waiting, w.settings.Zone)
	reason = fmt.Sprintf("The letter that the workshop sent itself on %s has not come back", day.Long())
	if m, err := w.register.MessageHead(canaryKey(day)); err == nil {
		reason += fmt.Sprintf("; it is %s", m.Status)
		if why := m.Why(); why != "" {
			reason += ": " + why
		}
	}
	return reason + ".", advice
}

// MailTrouble says that mail does not leave, and what to do; both are empty while it
// does.
func (w *Workshop) MailTrouble(state MailState) (reason, remedy string) {
	if reason = state.Trouble(w.settings.Zone); reason == "" {
		return "", ""
	}
	return reason, "Look at the relay's name, port and login in mail.smtp, and whether it can be reached; what waits leaves by itself, what is held once it is released."
}
