// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// writing is a letter about to be written.
type writing struct {
	key loops.MessageKey
	id  string    // its Message-ID
	at  time.Time // its date
	// instead is the letter that it takes the place of; nil for none.
	instead *loops.Message
}

// message is the letter as it goes into the outbox.
func (as writing) message(l notify.Letter, owner loops.OwnerID, purpose loops.Purpose, pointlessAfter time.Time, about []loops.Topic) loops.Message {
	m := l.Message(as.key, owner, purpose, as.at, pointlessAfter)
	m.Dated, m.About = as.at, about
	if as.instead != nil {
		m.Instead = as.instead.Key
	}
	return m
}

// earlier is the letter that this one takes the place of, as its reader knows it.
func (w *Workshop) earlier(as writing, zone *time.Location) notify.Earlier {
	if as.instead == nil {
		return notify.Earlier{}
	}
	return notify.Earlier{MessageID: w.messageID(*as.instead), Day: loops.DayOf(as.instead.Written(), zone)}
}

// newLetter is a letter that nobody has had yet.
func (w *Workshop) newLetter(key loops.MessageKey, at time.Time) writing {
	return writing{key: key, id: notify.MessageIDFor(w.register.ID(), key, w.mailDomain()), at: at}
}

func (w *Workshop) messageID(m loops.Message) string { return notify.MessageIDOf(m, w.mailDomain()) }

// lateHandover is how many days after a machine went back its owner is still
// written to about it.
const lateHandover = 14

// handOver adds to the change the letter that the owner gets when the machine
// goes back, handed over or as it is. It returns the subject of the mail, empty
// where the owner gets none, and what to warn of: a letter about long ago says
// what may not be so any more, so that none goes out.
func (w *Workshop) handOver(s Stamp, file File, e loops.Entry, change *loops.Change) (subject, untold string, err error) {
	owner := file.Owner
	if owner.ID == 0 || !owner.MayMail() {
		return "", "", nil // a donor unit goes back to nobody
	}
	if fault, err := w.mailFault(owner); err != nil || fault != "" {
		return "", "", err
	}
	day := loops.DayOf(s.At, w.zoneOf(owner))
	if day.Sub(e.Day) > lateHandover {
		return "", fmt.Sprintf("No letter goes out: the machine went back on %s, more than %d days ago.", e.Day.Long(), lateHandover), nil
	}
	// The tag keeps machines apart that go back to one owner on one day, the
	// entry a second hand-over of the same loop.
	key := loops.NewMessageKey(owner.ID, day, loops.PurposeHandover, fmt.Sprintf("%s-%d", file.Loop.Tag, e.ID))
	message, err := w.handoverMessage([]File{file}, []loops.Entry{e}, w.newLetter(key, s.At))
	if err != nil {
		return "", "", err
	}
	change.Messages = append(change.Messages, message)
	return message.Subject, "", nil
}

// welcome adds to the change the letter that greets the owner to whom a machine
// was passed on, with what is in it and its cautions. It returns its subject,
// empty where there is none.
func (w *Workshop) welcome(s Stamp, passed []File, change *loops.Change) (string, error) {
	owner := passed[0].Owner
	full := slices.DeleteFunc(slices.Clone(passed), func(f File) bool { return f.Loop.State.Charge == nil })
	if !owner.MayMail() || len(full) == 0 {
		return "", nil
	}
	if fault, err := w.mailFault(owner); err != nil || fault != "" {
		return "", err
	}
	var entries []loops.Entry
	for _, f := range full {
		entries = append(entries, f.History[len(f.History)-1])
	}
	key := loops.NewMessageKey(owner.ID, w.DayOf(owner, s.At), loops.PurposeWelcome, fmt.Sprintf("%s-%d", full[0].Loop.Tag, entries[0].ID))
	message, err := w.handoverMessage(full, entries, w.newLetter(key, s.At))
	if err != nil {
		return "", err
	}
	change.Messages = append(change.Messages, message)
	return message.Subject, nil
}

// handoverMessage writes the letter of a machine that went to its owner: handed
// over, returned as it is, or, with its loops one by one, passed on by another
// owner. The files are of one machine, each with the entry that tells it.
func (w *Workshop) handoverMessage(files []File, entries []loops.Entry, as writing) (loops.Message, error) {
	owner, purpose := files[0].Owner, loops.PurposeHandover
	if entries[0].Kind == loops.KindTransfer {
		purpose = loops.PurposeWelcome
	}
	links := w.ownerLinks(owner, as.at)
	in := w.handoverInput(files[0].ForOwner(), entries[0])
	for _, f := range files[1:] {
		in.Loops = append(in.Loops, w.handoverInput(f.ForOwner(), entries[0]).Loops...)
	}
	in.Cautions = OwnerCautions(forOwner(files))
	in.Date, in.MessageID, in.Instead = as.at.In(w.zoneOf(owner)), as.id, w.earlier(as, w.zoneOf(owner))
	in.Links = notify.Links{Stop: links.Stop, OneClick: links.OneClick}
	var events []schedule.Event
	var about []loops.Topic
	for n, f := range files {
		about = append(about, loops.Topic{Loop: f.Loop.ID, Entry: entries[n].ID})
		for _, task := range NextTasks(f.Loop.Plan) {
			item := schedule.Item{Owner: owner, Machine: f.Machine, Loop: f.Loop, Task: task}
			events = append(events, w.event(item, w.eventLink(links), as.at))
		}
	}
	var err error
	if in.Calendar, err = w.calendar(events); err != nil {
		return loops.Message{}, err
	}
	letter, err := notify.ComposeHandover(in)
	if err != nil {
		return loops.Message{}, fmt.Errorf("%s mail: %w", purpose, err)
	}
	return as.message(letter, owner.ID, purpose, as.at.AddDate(0, 0, 14), about), nil
}

// handoverInput is what the letter of an entry says, a hand-over or a return,
// on paper and by mail.
func (w *Workshop) handoverInput(file OwnersFile, e loops.Entry) notify.HandoverInput {
	l := notify.HandoverLoopOf(w.sender().Words(file.Owner), file.Loop, file.View)
	for _, t := range NextTasks(file.Loop.Plan) {
		l.Next = append(l.Next, nextTask(t))
	}
	in := notify.HandoverInput{
		Workshop: w.sender(), Owner: file.Owner, Day: e.Day, Machine: file.Machine.Name, Kind: file.Machine.Kind,
		Loops: []notify.HandoverLoop{l}, Cautions: OwnerCautions([]OwnersFile{file}),
	}
	switch e.Kind {
	case loops.KindReturn:
		in.AsItIs = e.Return.Why
	case loops.KindTransfer:
		in.Welcome = true
	}
	return in
}

// nextTask says a task that will come due as owners read it.
func nextTask(t loops.Task) notify.NextTask {
	return notify.NextTask{Task: t.Kind, Due: t.Due, Why: t.Binding().ForOwner()}
}

// calendar writes the events that ride in a mail, the first ones of more than it
// takes.
func (w *Workshop) calendar(events []schedule.Event) ([]byte, error) {
	c := schedule.Calendar{Organizer: &schedule.Organizer{Name: w.settings.Name, Email: w.settings.From}, Events: events}
	for len(c.Events) > 0 {
		ics, err := c.Encode()
		if err != nil || len(ics) <= notify.MaxCalendar {
			return ics, err
		}
		c.Events = c.Events[:len(c.Events)*notify.MaxCalendar/len(ics)]
	}
	return nil, nil
}
