// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
)

// addReceipt puts the receipt of an answer into the change: one for each kind of
// answer and day, so that pressing a button again and again mails nobody.
func (w *Workshop) addReceipt(s Stamp, owner loops.Owner, answer loops.Answer, about []File, change *loops.Change) error {
	fault, err := w.mailFault(owner)
	if err != nil || fault != "" || !owner.MayMail() {
		return err
	}
	day := w.DayOf(owner, s.At)
	key := loops.NewMessageKey(owner.ID, day, loops.PurposeReceipt, string(answer.Answer))
	if had, err := w.hasMessage(key); had || err != nil {
		return err
	}
	links := w.ownerLinks(owner.ID, s.At)
	in := notify.ReceiptInput{
		Workshop: w.sender(), Owner: owner, Day: day, Date: s.At.In(w.zoneOf(owner)),
		MessageID: notify.MessageIDFor(key, w.mailDomain()), Answer: answer, Links: links,
	}
	const most = 20 // machines and next tasks that a receipt names
	for _, f := range about[:min(len(about), most)] {
		name := machineName(f.Machine, f.Loop)
		if !slices.Contains(in.Machines, name) {
			in.Machines = append(in.Machines, name)
		}
		for _, t := range NextTasks(f.Loop.Plan)[:min(1, len(NextTasks(f.Loop.Plan)))] {
			in.Next = append(in.Next, notify.MachineTask{Machine: name, NextTask: nextTask(t)})
		}
		if charge := f.Loop.State.Charge; charge != nil {
			guide := notify.GuideFor(loops.Look, f.Machine.Kind, f.Loop.Sealed, charge.Fluid, in.Workshop.ReachUs())
			if in.Wet == "" || charge.Fluid == chemistry.EthyleneGlycol || charge.Fluid == "" {
				in.Wet = guide.Wet
			}
		}
	}
	in.Cautions = OwnerCautions(about[:min(len(about), most)])
	letter, err := notify.ComposeReceipt(in)
	if err != nil {
		return fmt.Errorf("receipt: %w", err)
	}
	change.Messages = append(change.Messages, letter.Message(key, owner.ID, loops.PurposeReceipt, s.At, s.At.AddDate(0, 0, 3)))
	return nil
}

// Printed composes the letter on paper for the owner of the loop with the tag:
// every task that is open for the owner's machines, or, where none is, the next
// one of this loop.
func (w *Workshop) Printed(s Stamp, tag loops.Tag) (notify.Printed, error) {
	file, err := w.File(tag)
	if err != nil {
		return notify.Printed{}, err
	}
	if file.Owner.ID == 0 {
		return notify.Printed{}, &loops.InvalidError{Field: "tag", Value: string(tag), Reason: "a loop of an owner; a donor unit has nobody to write to"}
	}
	day := w.DayOf(file.Owner, s.At)
	files, err := w.FilesOf(file.Owner.ID)
	if err != nil {
		return notify.Printed{}, err
	}
	in := notify.ReminderInput{Workshop: w.sender(), Owner: file.Owner, Day: day}
	for _, f := range files {
		if f.Loop.State.Charge == nil {
			continue
		}
		open := w.OpenTasks(f.Loop, day)
		for _, t := range NextTasks(f.Loop.Plan) {
			if slices.Contains(open, t.Kind) {
				in.Items = append(in.Items, w.letterItem(f, t, day))
			}
		}
	}
	if len(in.Items) == 0 && file.Loop.State.Charge != nil {
		for _, t := range NextTasks(file.Loop.Plan)[:min(1, len(NextTasks(file.Loop.Plan)))] {
			in.Items = append(in.Items, w.letterItem(file, t, day))
		}
	}
	if len(in.Items) == 0 {
		return notify.Printed{}, &loops.InvalidError{Field: "tag", Value: string(tag), Reason: "a loop that something is planned for"}
	}
	in.Cautions = OwnerCautions(slices.DeleteFunc(files, func(f File) bool {
		return !slices.ContainsFunc(in.Items, func(i notify.ReminderItem) bool { return i.Tag == f.Loop.Tag })
	}))
	return notify.ComposePrinted(in)
}

// letterItem says one task of a loop in a letter.
func (w *Workshop) letterItem(f File, t loops.Task, day loops.Day) notify.ReminderItem {
	item := reminderItem(f.Machine, f.Loop, t)
	item.Stage = loops.StageDue
	switch p := w.settings.Policy; {
	case day.Before(t.Due):
		item.Stage = loops.StageAhead
	case day.Sub(t.Due) >= p.LateDays:
		item.Stage = loops.StageLate
	}
	return item
}

// reminderItem says what is due, why, and what is in the loop, in owners' words.
func reminderItem(m loops.Machine, l loops.Loop, t loops.Task) notify.ReminderItem {
	charge := *l.State.Charge
	return notify.ReminderItem{
		Machine: machineName(m, l), Kind: m.Kind, Tag: l.Tag, Sealed: l.Sealed,
		Fluid: charge.Fluid, Charge: ownerCharge(charge), Task: t.Kind, Due: t.Due,
		Reason: t.Binding().ForOwner(), Source: t.Binding().SourceForOwner(),
	}
}
