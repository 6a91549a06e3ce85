// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// handOver adds to the change the letter that the owner gets when the machine
// goes back, handed over or as it is. It returns the subject of the mail, empty
// where the owner gets none.
func (w *Workshop) handOver(s Stamp, file File, e loops.Entry, change *loops.Change) (string, error) {
	owner := file.Owner
	if owner.ID == 0 || !owner.MayMail() {
		return "", nil // a donor unit goes back to nobody
	}
	// The tag keeps machines apart that go back to one owner on one day, the
	// entry a second hand-over of the same loop.
	day := loops.DayOf(s.At, w.zoneOf(owner))
	key := loops.NewMessageKey(owner.ID, day, loops.PurposeHandover, fmt.Sprintf("%s-%d", file.Loop.Tag, e.ID))
	links := w.ownerLinks(owner, s.At)
	in := w.handoverInput(file.ForOwner(), e)
	in.Date, in.MessageID = s.At.In(w.zoneOf(owner)), notify.MessageIDFor(key, w.mailDomain())
	in.Links = notify.Links{Stop: links.Stop, OneClick: links.OneClick}
	var events []schedule.Event
	for _, task := range NextTasks(file.Loop.Plan) {
		item := schedule.Item{Owner: owner, Machine: file.Machine, Loop: file.Loop, Task: task}
		events = append(events, schedule.NewEvent(item, w.mailDomain(), links.AllFine, s.At))
	}
	var err error
	if in.Calendar, err = w.calendar(events); err != nil {
		return "", err
	}
	letter, err := notify.ComposeHandover(in)
	if err != nil {
		return "", fmt.Errorf("hand-over mail: %w", err)
	}
	change.Messages = append(change.Messages, letter.Message(key, owner.ID, loops.PurposeHandover, s.At, s.At.AddDate(0, 0, 14)))
	return letter.Subject, nil
}

// handoverInput is what the letter of an entry says, a hand-over or a return,
// on paper and by mail.
func (w *Workshop) handoverInput(file OwnersFile, e loops.Entry) notify.HandoverInput {
	l := notify.HandoverLoopOf(file.Loop, file.View)
	for _, t := range NextTasks(file.Loop.Plan) {
		l.Next = append(l.Next, nextTask(t))
	}
	in := notify.HandoverInput{
		Workshop: w.sender(), Owner: file.Owner, Day: e.Day, Machine: file.Machine.Name, Kind: file.Machine.Kind,
		Loops: []notify.HandoverLoop{l}, Cautions: OwnerCautions([]OwnersFile{file}),
	}
	if e.Kind == loops.KindReturn {
		in.AsItIs = e.Return.Why
	}
	return in
}

// nextTask says a task that will come due as owners read it.
func nextTask(t loops.Task) notify.NextTask {
	return notify.NextTask{Task: t.Kind, Due: t.Due, Why: t.Binding().ForOwner()}
}

// calendar writes the events that ride in a mail.
func (w *Workshop) calendar(events []schedule.Event) ([]byte, error) {
	if len(events) == 0 {
		return nil, nil
	}
	return schedule.Calendar{
		Organizer: &schedule.Organizer{Name: w.settings.Name, Email: w.settings.From}, Events: events,
	}.Encode()
}
