// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// lettersAbout is what was written to the owner about a task by the instant. A
// letter to a former owner is none, nor is one that was withdrawn; the message
// with the key is left out.
func (w *Workshop) lettersAbout(owner loops.Owner, loop loops.LoopID, t loops.Task, at time.Time, but loops.MessageKey) (schedule.Letters, error) {
	var l schedule.Letters
	zone := w.zoneOf(owner)
	began, today := t.Due.AddDays(-w.settings.Policy.AheadDays), loops.DayOf(at, zone)
	if today.Before(began.AddDays(-w.settings.Policy.JoinDays)) {
		return l, nil // no letter can have spoken of it
	}
	up, err := w.register.Uptime()
	if err != nil {
		return l, err
	}
	l.OffDays = up.OffDays(began, today, zone)
	marks, err := w.register.Sent(loop, t.Kind, t.Due)
	if err != nil {
		return l, err
	}
	for _, mark := range marks {
		m, err := w.register.MessageHead(mark.Message)
		switch {
		case errors.Is(err, loops.ErrNotFound):
			l.Stages = append(l.Stages, mark.Stage) // of a register that lost its mail
			continue
		case err != nil:
			return l, err
		case m.Key == but || m.Owner != owner.ID || !m.Status.Settled():
			continue
		}
		l.Stages = append(l.Stages, mark.Stage)
		switch m.Status {
		case loops.Delivered:
			if at.Sub(m.LastAttempt) >= schedule.ArrivedAfter {
				l.Arrived++
			} else {
				l.Pending++
			}
		case loops.Held, loops.Dropped:
			l.Failure = string(m.Status) + " by a technician"
		default:
			l.Failure, _ = notify.FailureInWords(m.Failure)
		}
	}
	return l, nil
}
