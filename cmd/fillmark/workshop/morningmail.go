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
	"fillmark/schedule"
)

// MailMorning queues the technician's list once a day, from the sending hour in the
// workshop's zone on, where an address for it is set. It tells whether it did.
func (w *Workshop) MailMorning(s Stamp) (bool, error) {
	day := loops.DayOf(s.At, w.settings.Zone)
	if w.settings.Technician == "" || s.At.Before(schedule.SendableAt(day, w.settings.SendHour, w.settings.Zone)) {
		return false, nil
	}
	key := loops.NewMessageKey(0, day, loops.PurposeMorning, "")
	if had, err := w.hasMessage(key); had || err != nil {
		return false, err
	}
	sections, err := w.morningSections(s)
	if err != nil {
		return false, fmt.Errorf("morning list: %w", err)
	}
	letter, err := notify.ComposeMorning(notify.MorningInput{
		Workshop: w.sender(), To: w.settings.Technician, Day: day, Date: s.At.In(w.settings.Zone),
		MessageID: notify.MessageIDFor(key, w.mailDomain()), Sections: sections, Link: w.settings.BaseURL + "/",
	})
	if err != nil {
		return false, fmt.Errorf("morning list: %w", err)
	}
	message := letter.Message(key, 0, loops.PurposeMorning, s.At, s.At.Add(20*time.Hour))
	err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "morning list", Messages: []loops.Message{message}})
	if errors.Is(err, loops.ErrRepeated) {
		return false, nil
	}
	return err == nil, err
}

func (w *Workshop) morningSections(s Stamp) ([]notify.MorningSection, error) {
	due, err := w.Morning(s.At)
	if err != nil {
		return nil, err
	}
	answers, err := w.openAnswers(due.Day)
	if err != nil {
		return nil, err
	}
	var given []string
	for x, err := range w.register.Suppressions() {
		if err != nil {
			return nil, err
		}
		given = append(given, fmt.Sprintf("%s since %s: %s. Ask the owner for another address; if this one is right again: fillmark outbox allow %s",
			x.Address, loops.DayOf(x.Since, w.settings.Zone).Long(), strings.TrimRight(x.Reason, "."), x.Address))
	}
	var calls []string
	for _, c := range due.Call {
		phone := c.Phone
		if phone == "" {
			phone = "no telephone on record"
		}
		line := fmt.Sprintf("%s (%s): %s %s, %s since %s; %s.", c.Owner, phone, c.Tag, c.Machine, c.Task, c.Due.Long(), c.Why)
		if c.Letter {
			line += " A letter can go: fillmark outbox letter " + string(c.Tag)
		}
		calls = append(calls, line)
	}
	return []notify.MorningSection{
		{Heading: "Owners' answers", Lines: answers},
		{Heading: "To call", Lines: calls},
		{Heading: "Overdue", Lines: morningLines(due.Overdue), Late: true},
		{Heading: "Today", Lines: morningLines(due.Today)},
		{Heading: "This week", Lines: morningLines(due.Week)},
		{Heading: "Promised back", Lines: wordsOf(due.Promised, Promised.words)},
		{Heading: "What to bring", Lines: wordsOf(due.Bring, Bring.words)},
		{Heading: "On the shelf", Lines: append(wordsOf(due.Containers, OldContainer.words), wordsOf(due.Instruments, OldInstrument.words)...)},
		{Heading: "Mail does not arrive", Lines: given},
	}, nil
}

func wordsOf[T any](of []T, words func(T) string) []string {
	var lines []string
	for _, x := range of {
		lines = append(lines, words(x))
	}
	return lines
}

func (p Promised) words() string {
	line := fmt.Sprintf("%s, %s: promised back on %s", p.Machine, p.Owner, p.Day.Long())
	if p.OverdueDays > 0 {
		line += fmt.Sprintf(", %d days ago", p.OverdueDays)
	}
	return line + "."
}

func (c OldContainer) words() string {
	line := fmt.Sprintf("%s, %s left: expires on %s", c.Product, c.Left, c.Expires.Long())
	if c.OverdueDays > 0 {
		line = fmt.Sprintf("%s, %s left: expired on %s; use it no more", c.Product, c.Left, c.Expires.Long())
	}
	return line + "."
}

func (i OldInstrument) words() string {
	if i.Checked.IsZero() {
		return i.Name + ": its zero was never checked."
	}
	return i.Name + ": last checked on " + i.Checked.Long() + "."
}

func (b Bring) words() string {
	amount := "an unknown amount"
	if b.Volume > 0 {
		amount = b.Volume.String()
	}
	tags := make([]string, len(b.For))
	for i, tag := range b.For {
		tags[i] = string(tag)
	}
	line := fmt.Sprintf("%s of %s for %s", amount, b.What, strings.Join(tags, ", "))
	if b.Note != "" {
		line += ": " + b.Note
	}
	return line
}

func morningLines(of []Line) []string {
	var lines []string
	for _, l := range of {
		owner := l.Owner
		if owner == "" {
			owner = "no owner"
		}
		lines = append(lines, fmt.Sprintf("%s %s, %s: %s by %s. %s.", l.Tag, l.Machine, owner, l.Task, l.Due.Long(), l.Reason))
	}
	return lines
}

// openAnswers are the owners' words that wait for a technician: loops with a
// concern or a call wanted, and pauses since yesterday. It reads every loop,
// once a day.
func (w *Workshop) openAnswers(today loops.Day) ([]string, error) {
	var lines []string
	for l, err := range w.register.Loops() {
		if err != nil {
			return nil, err
		}
		paused := slices.ContainsFunc(l.State.Settings, func(x loops.Setting) bool { return x.Paused })
		if l.State.Concern.IsZero() && l.State.Asked.IsZero() && !paused {
			continue
		}
		file, err := w.fileOf(l)
		if err != nil {
			return nil, err
		}
		for _, e := range loops.Standing(file.History) {
			open := e.Kind == loops.KindAnswer && (e.Answer.Answer == loops.SomethingOff && e.Day == l.State.Concern ||
				e.Answer.Answer == loops.CallMe && e.Day == l.State.Asked ||
				e.Answer.Answer == loops.Pause && today.Sub(e.Day) <= 1)
			if !open {
				continue
			}
			line := fmt.Sprintf("%s %s, %s: %s, on %s.", l.Tag, file.Machine.Name, file.Owner.Name, e.Answer.Answer, e.Day.Long())
			if words := strings.Join(strings.Fields(e.Answer.Words), " "); words != "" {
				line += " In their words: " + words
			}
			lines = append(lines, line)
		}
	}
	return lines, nil
}
