// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"errors"
	"fmt"
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
	message, err := w.morningMessage(w.newLetter(key, s.At))
	if err != nil {
		return false, err
	}
	err = w.register.Commit(loops.Change{At: s.At, By: s.By, Action: "morning list", Messages: []loops.Message{message}})
	if errors.Is(err, loops.ErrRepeated) {
		return false, nil
	}
	return err == nil, err
}

// morningMessage writes the list of the day.
func (w *Workshop) morningMessage(as writing) (loops.Message, error) {
	day := loops.DayOf(as.at, w.settings.Zone)
	sections, err := w.morningSections(as.at)
	if err != nil {
		return loops.Message{}, fmt.Errorf("morning list: %w", err)
	}
	link := ""
	if w.Reached() { // whoever reads this elsewhere can open nothing else
		link = w.settings.BaseURL + "/"
	}
	letter, err := notify.ComposeMorning(notify.MorningInput{
		Workshop: w.sender(), To: w.settings.Technician, Day: day, Date: as.at.In(w.settings.Zone),
		MessageID: as.id, Sections: sections, Link: link, Instead: w.earlier(as, w.settings.Zone),
	})
	if err != nil {
		return loops.Message{}, fmt.Errorf("morning list: %w", err)
	}
	return as.message(letter, 0, loops.PurposeMorning, as.at.Add(20*time.Hour), nil), nil
}

func (w *Workshop) morningSections(at time.Time) ([]notify.MorningSection, error) {
	m, err := w.Morning(at)
	if err != nil {
		return nil, err
	}
	answers, err := w.openAnswers()
	if err != nil {
		return nil, err
	}
	var given []string
	for x, err := range w.register.Suppressions() {
		if err != nil {
			return nil, err
		}
		given = append(given, fmt.Sprintf("%s since %s: %s. Once it takes mail again: fillmark outbox allow %s",
			x.Address, loops.DayOf(x.Since, w.settings.Zone).Long(), whyGivenUp(x), x.Address))
	}
	var calls []string
	for _, c := range schedule.Conversations(m.Call) {
		line := c.Sentence()
		if c.Letter != "" {
			line += " A letter can go: fillmark outbox show " + string(c.Letter)
		}
		calls = append(calls, line)
	}
	var notices []string
	for _, n := range m.Notices {
		notices = append(notices, n.Text+" "+n.Reason)
	}
	return []notify.MorningSection{
		{Heading: "Owners' answers", Lines: answers},
		{Heading: "To call", Lines: calls},
		{Heading: "Overdue", Lines: morningLines(m.Overdue), Late: true},
		{Heading: "Today", Lines: morningLines(m.Today)},
		{Heading: "This week", Lines: morningLines(m.Week)},
		{Heading: "Promised back", Lines: sentences(m.Promised)},
		{Heading: "Bring", Lines: sentences(m.Bring)},
		{Heading: "Containers out of date", Lines: sentences(m.Containers)},
		{Heading: "Instruments to check", Lines: sentences(m.Instruments)},
		{Heading: "Openings say", Lines: notices},
		{Heading: "Mail does not arrive", Lines: given},
	}, nil
}

func morningLines(of []schedule.Line) []string {
	var lines []string
	for _, l := range of {
		lines = append(lines, fmt.Sprintf("%s %s, %s: %s by %s (%s). %s", l.Tag, l.Machine, cmp.Or(l.Owner, "no owner"), l.Task, l.Due.Long(), l.Standing(), l.Because()))
	}
	return lines
}

// sentences returns the lines that say themselves.
func sentences[T interface{ Sentence() string }](of []T) []string {
	var lines []string
	for _, x := range of {
		lines = append(lines, x.Sentence())
	}
	return lines
}

// openAnswers are the owners' words that wait for a technician: loops with a
// concern, a call or a pause asked for. It reads every loop, once a day.
func (w *Workshop) openAnswers() ([]string, error) {
	var lines []string
	for l, err := range w.register.Loops() {
		if err != nil {
			return nil, err
		}
		if l.State.Concern.IsZero() && !l.State.Wanted() {
			continue
		}
		file, err := w.fileOf(l)
		if err != nil {
			return nil, err
		}
		standing := loops.Standing(file.ForOwner().View.Own())
		done := len(standing) // whatever a technician did answers what was asked before
		for done > 0 && standing[done-1].Kind == loops.KindAnswer {
			done--
		}
		for i, e := range standing {
			open := e.Kind == loops.KindAnswer && (e.Answer.Answer == loops.SomethingOff && e.Day == l.State.Concern ||
				e.Answer.Answer == loops.PassedOn && e.Day == l.State.PassedOn || e.Answer.Answer != loops.AllFine && i >= done)
			if !open {
				continue
			}
			line := fmt.Sprintf("%s %s, %s: %s, on %s.", l.Tag, file.Machine.Name, file.Owner.Name, e.Answer.Said(), e.Day.Long())
			if words := strings.Join(strings.Fields(e.Answer.Words), " "); words != "" {
				line += " In their words: “" + words + "”"
			}
			if e.Answer.Photo != "" {
				line += " With a photo."
			}
			if e.Note != "" {
				line += " " + e.Note
			}
			lines = append(lines, line)
		}
	}
	return lines, nil
}
