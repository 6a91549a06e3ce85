// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// handOver adds to the change the confirmation that the owner gets. It returns the subject of the mail, empty where
// the owner gets none.
func (w *Workshop) handOver(s Stamp, file File, e loops.Entry, change *loops.Change) (string, error) {
	owner := file.Owner
	if owner.ID == 0 {
		return "", nil // a donor unit goes back to nobody
	}
	if !owner.MayMail() {
		return "", nil
	}
	// The tag keeps machines apart that go back to one owner on one day, the
	// entry a second hand-over of the same loop.
	day := loops.DayOf(s.At, w.zoneOf(owner))
	key := loops.NewMessageKey(owner.ID, day, loops.PurposeHandover, fmt.Sprintf("%s-%d", file.Loop.Tag, e.ID))
	links := w.ownerLinks(owner.ID, s.At)
	in := notify.HandoverInput{
		Workshop: w.sender(), Owner: owner, Day: e.Day, Date: s.At.In(w.zoneOf(owner)),
		MessageID: notify.MessageIDFor(key, w.mailDomain()),
		Machine:   file.Machine.Name, Kind: file.Machine.Kind, Loops: []notify.HandoverLoop{handoverLoop(file.Loop)},
		Cautions: OwnerCautions([]File{file}),
		Links:    notify.Links{Stop: links.Stop, OneClick: links.OneClick},
	}
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

func handoverLoop(l loops.Loop) notify.HandoverLoop {
	charge := *l.State.Charge
	out := notify.HandoverLoop{Name: l.Name, Tag: l.Tag, Sealed: l.Sealed, Fluid: charge.Fluid, Charge: ownerCharge(charge), Volume: charge.Volume}
	if p := l.Protection(); p != nil {
		out.Freeze, out.FreezeUncertainty, out.Coldest = &p.FreezePoint, p.Uncertainty, p.Wall
	}
	for _, t := range NextTasks(l.Plan) {
		out.Next = append(out.Next, nextTask(t))
	}
	return out
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

// ownerCharge says what is in a loop, with the fraction and its basis, in
// words an owner can read out to somebody.
func ownerCharge(c loops.Charge) string {
	if !c.Fluid.IsGlycol() {
		return c.Fluid.Name()
	}
	if c.Mass == nil {
		return c.Fluid.Name() + " in water, strength not known"
	}
	return fmt.Sprintf("%.0f %% %s by mass in water", c.Mass.Percent(), c.Fluid.Name())
}
