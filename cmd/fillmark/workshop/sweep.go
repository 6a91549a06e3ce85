// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
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
// reminded. It works
// from stored state alone: run again, or after a week off, it does what is to
// be done, once.
func (w *Workshop) Sweep(s Stamp) (Swept, error) {
	if err := w.register.NoteUptime(s.At); err != nil {
		return Swept{}, fmt.Errorf("sweep: %w", err)
	}
	items, err := w.items(schedule.Horizon(w.settings.Policy, s.At), s.At)
	if err != nil {
		return Swept{}, fmt.Errorf("sweep: %w", err)
	}
	owners := map[loops.OwnerID]loops.Owner{}
	for _, i := range items {
		owners[i.Owner.ID] = i.Owner
	}
	waiting, err := w.waiting()
	if err != nil {
		return Swept{}, fmt.Errorf("sweep: %w", err)
	}
	var readErr error
	found := schedule.Sweep(schedule.SweepInput{
		Now: s.At, Policy: w.settings.Policy, Zone: w.settings.Zone, Hour: w.settings.SendHour, Items: items,
		Mailed: func(key loops.MessageKey) bool {
			had, err := w.hasMessage(key)
			readErr = errors.Join(readErr, err)
			return had || err != nil // where the record cannot be read nobody is mailed
		},
		Waiting: func(owner loops.OwnerID) bool { return waiting[owner] },
		Posted: func(id loops.OwnerID) []schedule.Posted {
			had, err := w.posted(owners[id], writing{at: s.At})
			readErr = errors.Join(readErr, err)
			return had
		},
	})
	if readErr != nil {
		return Swept{}, fmt.Errorf("sweep: %w", readErr)
	}
	swept := Swept{Reminders: []Queued{}, Calls: len(found.Calls)}
	var failed []error // one letter that cannot be written keeps no other back
	for _, r := range found.Reminders {
		message, err := w.reminderMessage(r, w.newLetter(r.Key(), s.At))
		if err != nil {
			failed = append(failed, fmt.Errorf("sweep: reminder for owner %d: %w", r.Owner.ID, err))
			continue
		}
		err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "reminder", Messages: []loops.Message{message}})
		if errors.Is(err, loops.ErrRepeated) {
			continue // another sweep was quicker
		}
		if loops.NoWrite(err) {
			failed = append(failed, fmt.Errorf("sweep: %w", err))
			break // the next owner's would fail alike
		}
		if err != nil {
			failed = append(failed, fmt.Errorf("sweep: %w", err))
			continue
		}
		swept.Reminders = append(swept.Reminders, Queued{r.Key(), r.Owner.Name, message.Subject, r.Stage})
	}
	return swept, errors.Join(failed...)
}

// waiting are the owners to whom a letter has not left yet.
func (w *Workshop) waiting() (map[loops.OwnerID]bool, error) {
	owners := map[loops.OwnerID]bool{}
	for m, err := range w.register.Waiting() {
		if err != nil {
			return nil, err
		}
		if m.Purpose == loops.PurposeReminder || m.Purpose == loops.PurposeHandover || m.Purpose == loops.PurposeWelcome {
			owners[m.Owner] = true
		}
	}
	return owners, nil
}

func (w *Workshop) hasMessage(key loops.MessageKey) (bool, error) {
	_, err := w.register.MessageHead(key)
	if errors.Is(err, loops.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// pointlessAfter is when a reminder has been overtaken by the next one.
func pointlessAfter(at time.Time) time.Time { return at.Add(6 * 24 * time.Hour) }

// reminderMessage writes a reminder with everything it says. Of a loop that
// holds nothing it says nothing.
func (w *Workshop) reminderMessage(r schedule.Reminder, as writing) (loops.Message, error) {
	zone := w.zoneOf(r.Owner)
	in := notify.ReminderInput{
		Workshop: w.sender(), Owner: r.Owner, Day: r.Day, Date: as.at.In(zone),
		MessageID: as.id, Instead: w.earlier(as, zone),
	}
	r.Items = slices.DeleteFunc(slices.Clone(r.Items), func(i schedule.Staged) bool { return i.Loop.State.Charge == nil })
	var about []loops.LoopID
	for _, item := range r.Items {
		about = append(about, item.Loop.ID)
	}
	in.Links = w.ownerLinks(r.Owner, as.at, about...)
	var inside []OwnersFile
	var events []schedule.Event
	for _, item := range r.Items {
		inside = append(inside, OwnersFile{Loop: item.Loop, Machine: item.Machine})
		line := notify.ItemOf(in.Workshop.Words(r.Owner), item.Machine, item.Loop, item.Task)
		line.Stage = item.Tone()
		in.Items = append(in.Items, line)
		events = append(events, w.event(item.Item, w.eventLink(in.Links), as.at))
	}
	in.Cautions = OwnerCautions(inside)
	var err error
	if in.Thread, err = w.thread(r, as); err != nil {
		return loops.Message{}, err
	}
	if in.Calendar, err = w.calendar(events); err != nil {
		return loops.Message{}, err
	}
	letter, err := notify.ComposeReminder(in)
	if err != nil {
		return loops.Message{}, err
	}
	return as.message(letter, r.Owner.ID, loops.PurposeReminder, pointlessAfter(as.at), r.About()), nil
}

func (w *Workshop) sender() notify.Workshop {
	return notify.Workshop{
		Name: w.settings.Name, From: w.settings.From, Phone: w.settings.Phone, BaseURL: w.settings.BaseURL,
		Language: w.settings.Language, Templates: w.settings.Templates,
	}
}

// WordsFor are the words that an owner reads; of nobody known, the workshop's.
func (w *Workshop) WordsFor(o loops.Owner) words.Words { return w.sender().Words(o) }

func (w *Workshop) mailDomain() string {
	return w.settings.From[strings.LastIndexByte(w.settings.From, '@')+1:]
}
