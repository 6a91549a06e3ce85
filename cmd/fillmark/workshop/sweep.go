// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// Swept is what a sweep did.
type Swept struct {
	// Reminders are the mails composed and queued.
	Reminders []Queued `json:"reminders"`
	// Calls is how many tasks wait for a technician to call the owner.
	Calls int `json:"calls"`
}

// Queued is one mail put into the outbox.
type Queued struct {
	Key     loops.MessageKey `json:"key"`
	Owner   string           `json:"owner"`
	Subject string           `json:"subject"`
	Stage   loops.Stage      `json:"stage"`
}

// Sweep reads what is due, and commits one mail per owner who is to be
// reminded, each with the marks that keep it from going out twice. It works
// from stored state alone: run again, or after a week off, it does what is to
// be done, once.
func (w *Workshop) Sweep(s Stamp) (Swept, error) {
	items, err := w.items(schedule.Horizon(w.settings.Policy, s.At))
	if err != nil {
		return Swept{}, fmt.Errorf("sweep: %w", err)
	}
	var readErr error
	onRecord := func(found bool, err error) bool {
		readErr = errors.Join(readErr, err)
		return found || err != nil // where the record cannot be read nobody is mailed
	}
	found := schedule.Sweep(schedule.SweepInput{
		Now: s.At, Policy: w.settings.Policy, Zone: w.settings.Zone, Hour: w.settings.SendHour, Items: items,
		Sent:   func(mark loops.Sent) bool { return onRecord(w.register.HasSent(mark)) },
		Mailed: func(key loops.MessageKey) bool { return onRecord(w.hasMessage(key)) },
	})
	if readErr != nil {
		return Swept{}, fmt.Errorf("sweep: %w", readErr)
	}
	swept := Swept{Reminders: []Queued{}, Calls: len(found.Calls)}
	var failed []error // one letter that cannot be written keeps no other back
	for _, r := range found.Reminders {
		letter, err := w.composeReminder(r, s.At)
		if err != nil {
			failed = append(failed, fmt.Errorf("sweep: reminder for owner %d: %w", r.Owner.ID, err))
			continue
		}
		message := letter.Message(r.Key(), r.Owner.ID, loops.PurposeReminder, s.At, pointlessAfter(s.At))
		err = w.register.Commit(loops.Change{
			At: s.At, By: s.By, Action: "reminder", Messages: []loops.Message{message}, Sent: r.Sent(),
		})
		if errors.Is(err, loops.ErrRepeated) {
			continue // another sweep was quicker
		}
		if err != nil {
			failed = append(failed, fmt.Errorf("sweep: %w", err))
			continue
		}
		swept.Reminders = append(swept.Reminders, Queued{r.Key(), r.Owner.Name, letter.Subject, r.Stage})
	}
	return swept, errors.Join(failed...)
}

func (w *Workshop) hasMessage(key loops.MessageKey) (bool, error) {
	_, err := w.register.Message(key)
	if errors.Is(err, loops.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// pointlessAfter is when a reminder has been overtaken by the next one.
func pointlessAfter(at time.Time) time.Time { return at.Add(6 * 24 * time.Hour) }

// composeReminder renders a reminder with everything it says.
func (w *Workshop) composeReminder(r schedule.Reminder, at time.Time) (notify.Letter, error) {
	in := notify.ReminderInput{
		Workshop: w.sender(), Owner: r.Owner, Day: r.Day, Date: at.In(w.zoneOf(r.Owner)),
		MessageID: notify.MessageIDFor(r.Key(), w.mailDomain()), Links: w.ownerLinks(r.Owner, at),
	}
	var inside []OwnersFile
	var events []schedule.Event
	for _, item := range r.Items {
		if item.Loop.State.Charge == nil {
			continue
		}
		inside = append(inside, OwnersFile{Loop: item.Loop, Machine: item.Machine})
		line := notify.ItemOf(item.Machine, item.Loop, item.Task)
		line.Stage = item.Stage
		in.Items = append(in.Items, line)
		events = append(events, schedule.NewEvent(item.Item, w.mailDomain(), in.Links.AllFine, at))
	}
	in.Cautions = OwnerCautions(inside)
	var err error
	if in.Calendar, err = w.calendar(events); err != nil {
		return notify.Letter{}, err
	}
	return notify.ComposeReminder(in)
}

func (w *Workshop) sender() notify.Workshop {
	return notify.Workshop{Name: w.settings.Name, From: w.settings.From, Phone: w.settings.Phone, BaseURL: w.settings.BaseURL, Templates: w.settings.Templates}
}

func (w *Workshop) mailDomain() string {
	return w.settings.From[strings.LastIndexByte(w.settings.From, '@')+1:]
}
