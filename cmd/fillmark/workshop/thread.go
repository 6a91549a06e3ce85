// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"slices"

	"fillmark/loops"
	"fillmark/schedule"
)

// lettersTo are the letters of the last year and a half that left to the owner
// or may have, oldest first: reminders, and those of a machine's going. The one
// about to be written is left out, and the one that it takes the place of.
func (w *Workshop) lettersTo(owner loops.Owner, as writing) ([]loops.Message, error) {
	messages, err := w.register.MessagesTo(owner.ID, w.DayOf(owner, as.at).AddMonths(-18))
	if err != nil {
		return nil, err
	}
	messages = slices.DeleteFunc(messages, func(m loops.Message) bool {
		left := m.Status == loops.Delivered || m.Status == loops.Refused || m.Unsure
		letter := m.Purpose == loops.PurposeReminder || m.Purpose == loops.PurposeHandover || m.Purpose == loops.PurposeWelcome
		return !left || !letter || m.Key == as.key || as.instead != nil && m.Key == as.instead.Key
	})
	slices.SortStableFunc(messages, func(a, b loops.Message) int { return a.LastAttempt.Compare(b.LastAttempt) })
	return messages, nil
}

// posted is how near and how many the letters to an owner were.
func (w *Workshop) posted(owner loops.Owner, as writing) ([]schedule.Posted, error) {
	letters, err := w.lettersTo(owner, as)
	if err != nil {
		return nil, err
	}
	var posted []schedule.Posted
	for _, m := range letters {
		posted = append(posted, schedule.Posted{Day: w.DayOf(owner, m.LastAttempt), Reminder: m.Purpose == loops.PurposeReminder})
	}
	return posted, nil
}

// thread are the Message-IDs of the reminders before this one about the same
// appointment, the first one first.
func (w *Workshop) thread(r schedule.Reminder, as writing) ([]string, error) {
	letters, err := w.lettersTo(r.Owner, as)
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, m := range letters {
		if m.Status != loops.Refused && m.LastAttempt.Before(as.at) && schedule.SameAppointment(w.settings.Policy, m.About, r.About()) {
			ids = append(ids, w.messageID(m))
		}
	}
	return ids, nil
}
