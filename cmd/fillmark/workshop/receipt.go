// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// addReceipt puts the receipt of an answer into the change: one a day for each kind
// of answer and what it is about, one loop or several, so that pressing a button
// again and again mails nobody.
func (w *Workshop) addReceipt(s Stamp, owner loops.Owner, answer loops.Answer, about []OwnersFile, change *loops.Change) error {
	fault, err := w.mailFault(owner)
	if err != nil || fault != "" || !owner.MayMail() {
		return err
	}
	apart := string(answer.Answer)
	if len(about) == 1 {
		apart += "/" + string(about[0].Loop.Tag)
	}
	key := loops.NewMessageKey(owner.ID, w.DayOf(owner, s.At), loops.PurposeReceipt, apart)
	if had, err := w.hasMessage(key); had || err != nil {
		return err
	}
	var topics []loops.Topic
	for _, f := range about {
		topics = append(topics, loops.Topic{Loop: f.Loop.ID, Entry: f.Loop.LastEntry})
	}
	message, err := w.receiptMessage(owner, answer, about, topics, w.newLetter(key, s.At))
	if err == nil {
		change.Messages = append(change.Messages, message)
	}
	return err
}

// receiptMessage writes the receipt of an answer about the loops of the files.
func (w *Workshop) receiptMessage(owner loops.Owner, answer loops.Answer, about []OwnersFile, topics []loops.Topic, as writing) (loops.Message, error) {
	in := notify.ReceiptInput{
		Workshop: w.sender(), Owner: owner, Day: w.DayOf(owner, as.at), Date: as.at.In(w.zoneOf(owner)),
		MessageID: as.id, Answer: answer, Links: w.ownerLinks(owner, as.at), Instead: w.earlier(as, w.zoneOf(owner)),
	}
	ws := in.Workshop.Words(owner)
	const most = 20 // machines and next tasks that a receipt names
	for _, f := range about[:min(len(about), most)] {
		name := notify.MachineName(f.Machine, f.Loop)
		if !slices.Contains(in.Machines, name) {
			in.Machines = append(in.Machines, name)
		}
		for _, t := range NextTasks(f.Loop.Plan)[:min(1, len(NextTasks(f.Loop.Plan)))] {
			in.Next = append(in.Next, notify.MachineTask{Machine: name, NextTask: nextTask(t)})
		}
		for _, c := range f.Loop.State.Conditions() {
			in.Conditions = append(in.Conditions, notify.MachineCondition{Machine: name, Condition: c})
		}
		fluid := chemistry.Fluid("") // of a drained loop nobody can say that it is harmless
		if f.Loop.State.Charge != nil {
			fluid = f.Loop.State.Charge.Fluid
		}
		if in.Wet == "" || fluid == chemistry.EthyleneGlycol || fluid == "" {
			in.Wet = notify.GuideFor(ws, loops.Look, f.Machine.Kind, f.Loop.Sealed, fluid, in.Workshop.ReachUs(ws)).Wet
		}
	}
	in.Cautions = OwnerCautions(about[:min(len(about), most)])
	letter, err := notify.ComposeReceipt(in)
	if err != nil {
		return loops.Message{}, fmt.Errorf("receipt: %w", err)
	}
	return as.message(letter, owner.ID, loops.PurposeReceipt, as.at.AddDate(0, 0, 3), topics), nil
}

// Printed composes the letter on paper for the owner of the loop with the tag:
// where it went back as it is what it went back with; else every task that is
// open for the owner's machines, or, where none is, the next one of this loop.
func (w *Workshop) Printed(s Stamp, tag loops.Tag) (notify.Printed, error) {
	whole, err := w.File(tag)
	if err != nil {
		return notify.Printed{}, err
	}
	file := whole.ForOwner()
	if file.Owner.ID == 0 {
		return notify.Printed{}, &loops.InvalidError{Field: "tag", Value: string(tag), Reason: "a loop of an owner; a donor unit has nobody to write to"}
	}
	if !file.Loop.State.ReturnedAsIs.IsZero() {
		return notify.PrintHandover(w.handoverInput(file, lastReturn(file.View)))
	}
	day := w.DayOf(file.Owner, s.At)
	files, err := w.OwnersFiles(file.Owner.ID)
	if err != nil {
		return notify.Printed{}, err
	}
	read, dues := &ahead{register: w.register}, file.Loop.Dues()
	for _, f := range files {
		dues = append(dues, f.Loop.Dues()...)
	}
	if err := w.readLetters(read, dues); err != nil {
		return notify.Printed{}, err
	}
	w = w.Through(read)
	in := notify.ReminderInput{Workshop: w.sender(), Owner: file.Owner, Day: day}
	for _, f := range files {
		if f.Loop.State.Charge == nil {
			continue
		}
		open := w.OpenTasks(f.Loop, day)
		for _, t := range NextTasks(f.Loop.Plan) {
			if slices.Contains(open, t.Kind) {
				item, err := w.letterItem(f, t, day)
				if err != nil {
					return notify.Printed{}, err
				}
				in.Items = append(in.Items, item)
			}
		}
	}
	if len(in.Items) == 0 && file.Loop.State.Charge != nil {
		for _, t := range NextTasks(file.Loop.Plan)[:min(1, len(NextTasks(file.Loop.Plan)))] {
			item, err := w.letterItem(file, t, day)
			if err != nil {
				return notify.Printed{}, err
			}
			in.Items = append(in.Items, item)
		}
	}
	if len(in.Items) == 0 {
		return notify.Printed{}, &loops.InvalidError{Field: "tag", Value: string(tag), Reason: "a loop that something is planned for"}
	}
	slices.SortStableFunc(in.Items, func(a, b notify.ReminderItem) int { return a.Due.Compare(b.Due) })
	in.Items = in.Items[:min(len(in.Items), schedule.MostTasks)]
	in.Cautions = OwnerCautions(slices.DeleteFunc(files, func(f OwnersFile) bool {
		return !slices.ContainsFunc(in.Items, func(i notify.ReminderItem) bool { return i.Tag == f.Loop.Tag })
	}))
	return notify.ComposePrinted(in)
}

// lastReturn is the entry with which a machine last went back as it was.
func lastReturn(view loops.OwnersView) loops.Entry {
	var last loops.Entry
	for _, e := range loops.Standing(view.Entries()) {
		if e.Kind == loops.KindReturn {
			last = e
		}
	}
	return last
}

// letterItem says one task of a loop in a letter.
func (w *Workshop) letterItem(f OwnersFile, t loops.Task, day loops.Day) (notify.ReminderItem, error) {
	item := notify.ItemOf(w.sender().Words(f.Owner), f.Machine, f.Loop, t)
	stage, ok := schedule.StageOn(w.settings.Policy, t.Due, day)
	if !ok {
		stage = loops.StageAhead
	}
	letters, err := w.lettersAbout(f.Owner, f.Loop.ID, t, day.At(12, w.zoneOf(f.Owner)), "")
	if item.Stage = letters.Tone(stage); item.Stage == loops.StageLast {
		item.Stage = loops.StageLate // paper is no last mail
	}
	return item, err
}
