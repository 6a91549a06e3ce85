// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"time"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/schedule"
)

// Review writes a queued letter again from the register as it is now, and says
// whether it leaves as it was, otherwise, or not at all. One that may have left
// already leaves as it was or not at all; what is true now then goes as a letter
// of its own that names it.
func (w *Workshop) Review(m loops.Message, now time.Time) (notify.Review, error) {
	r := notify.Review{Message: m}
	as := writing{key: m.Key, id: w.messageID(m), at: m.Written()}
	var err error
	if as.instead, err = w.insteadOf(m); err != nil {
		return r, err
	}
	then, why, err := w.writtenAgain(m, as)
	if err != nil {
		return r, err
	}
	same := why == "" && sameLetter(then, m)
	// A reminder is of its day, since it says how far off things are, and so is a
	// letter to ourselves.
	ofItsDay := m.Purpose == loops.PurposeReminder || m.Purpose == loops.PurposeCanary
	if same && (!ofItsDay || w.dayFor(m, now) == w.dayFor(m, m.Written())) {
		return r, nil
	}
	as.at = now
	if m.Unsure {
		as = w.newLetter(m.Key.Next(), now)
		as.instead = &m
	}
	is, whyNow, err := w.writtenAgain(m, as)
	switch {
	case err != nil:
		return r, err
	case m.Unsure && same && whyNow == "" && slices.Equal(is.About, m.About):
		return r, nil // as true as on the day that it was written
	case whyNow != "":
		r.Withdrawn = "not sent: " + whyNow
	case m.Unsure:
		r.Withdrawn, r.Instead = "not sent again: what it says has changed; "+string(is.Key)+" takes its place", &is
	default:
		r.Message = replaced(m, is, w.dayFor(m, now))
	}
	return r, nil
}

// insteadOf reads the letter that m takes the place of; nil for none.
func (w *Workshop) insteadOf(m loops.Message) (*loops.Message, error) {
	if m.Instead == "" {
		return nil, nil
	}
	first, err := w.register.MessageHead(m.Instead)
	return &first, err
}

// replaced is the queued message with the words of now, and a note of it.
func replaced(m, is loops.Message, today loops.Day) loops.Message {
	switch {
	case m.To != is.To:
		m.Note = "sent to " + is.To + " instead of " + m.To + ", which the owner had before"
	default:
		m.Note = "written again on " + today.Long() + ", when it left: what it said had changed"
	}
	m.To, m.Subject, m.Raw, m.About, m.Dated, m.PointlessAfter = is.To, is.Subject, is.Raw, is.About, is.Dated, is.PointlessAfter
	return m
}

// dayFor is the civil day of the message's reader at the instant.
func (w *Workshop) dayFor(m loops.Message, at time.Time) loops.Day {
	owner, err := w.register.Owner(m.Owner)
	if err != nil {
		owner = loops.Owner{} // the workshop's own list, or an owner who is gone
	}
	return w.DayOf(owner, at)
}

// sameLetter tells whether two letters say the same to the same reader. The
// number that a calendar counts an event's changes with rises with every entry.
func sameLetter(a, b loops.Message) bool {
	return a.To == b.To && (bytes.Equal(a.Raw, b.Raw) || bytes.Equal(uncounted(a.Raw), uncounted(b.Raw)))
}

func uncounted(raw []byte) []byte {
	lines := bytes.SplitAfter(raw, []byte("\n"))
	return bytes.Join(slices.DeleteFunc(lines, func(l []byte) bool { return bytes.HasPrefix(l, []byte("SEQUENCE:")) }), nil)
}

// writtenAgain writes the message from the register as it is. Why says why it must not
// leave; it is empty where it may.
func (w *Workshop) writtenAgain(m loops.Message, as writing) (is loops.Message, why string, err error) {
	if m.Purpose == loops.PurposeMorning {
		return w.morningAgain(m, as)
	}
	if m.Purpose == loops.PurposeCanary {
		return w.canaryAgain(m, as)
	}
	owner, err := w.register.Owner(m.Owner)
	if errors.Is(err, loops.ErrNotFound) {
		return is, "its owner is not on record any more", nil
	}
	if err != nil {
		return is, "", err
	}
	switch {
	case owner.Email == "":
		return is, "the owner has no mail address on record any more", nil
	case !owner.MailStopped.IsZero():
		return is, "the owner stopped the mail on " + owner.MailStopped.Long(), nil
	case !owner.Consent.Mail:
		return is, "the owner does not agree to mail any more", nil
	}
	switch m.Purpose {
	case loops.PurposeReminder:
		return w.reminderAgain(m, owner, as)
	case loops.PurposeHandover, loops.PurposeWelcome:
		return w.handoverAgain(m, owner, as)
	case loops.PurposeReceipt:
		return w.receiptAgain(m, owner, as)
	}
	return is, "", fmt.Errorf("message %s: purpose %q is not known", m.Key, m.Purpose)
}

// morningAgain is the technician's list of the day; yesterday's is of no use.
func (w *Workshop) morningAgain(m loops.Message, as writing) (is loops.Message, why string, err error) {
	switch {
	case w.settings.Technician == "":
		return is, "no address for the morning list is set any more", nil
	case w.dayFor(m, as.at) != w.dayFor(m, m.Created):
		return is, "its day is over; the next day's list says more", nil
	}
	is, err = w.morningMessage(as)
	return is, "", err
}

// reminderAgain is the reminder that the owner is to get on the day of writing.
func (w *Workshop) reminderAgain(m loops.Message, owner loops.Owner, as writing) (is loops.Message, why string, err error) {
	if len(m.About) == 0 {
		return is, "an earlier version wrote it without a note of what it is about; a new one is written if there is something to say", nil
	}
	files, err := w.filesOf(owner.ID)
	if err != nil {
		return is, "", err
	}
	had, err := w.posted(owner, as)
	if err != nil {
		return is, "", err
	}
	in := schedule.SweepInput{
		Now: as.at, Policy: w.settings.Policy, Zone: w.settings.Zone,
		Mailed: func(loops.MessageKey) bool { return false },
		Posted: func(loops.OwnerID) []schedule.Posted { return had },
	}
	for _, f := range files {
		for _, t := range f.Loop.Plan.Tasks {
			if f.Loop.State.Charge == nil || t.Due.After(schedule.Horizon(in.Policy, as.at)) {
				continue
			}
			item, err := w.withLetters(schedule.Item{Owner: owner, Machine: f.Machine, Loop: f.Loop, Task: t}, as.at, m.Key)
			if err != nil {
				return is, "", err
			}
			in.Items = append(in.Items, item)
		}
	}
	swept := schedule.Sweep(in)
	if len(swept.Reminders) > 0 {
		is, err = w.reminderMessage(swept.Reminders[0], as)
		return is, "", err
	}
	for _, call := range swept.Calls {
		if slices.ContainsFunc(m.About, func(t loops.Topic) bool { return t.Loop == call.Loop.ID && t.Task == call.Task.Kind }) {
			return is, "a person is to call instead: " + call.Reason, nil
		}
	}
	in.Posted = nil // what would there be to say, whatever the owner had?
	switch {
	case len(schedule.Sweep(in).Reminders) == 0:
		return is, "nothing that it speaks of is due to be said any more", nil
	case schedule.TooNear(in.Policy, had, w.DayOf(owner, as.at)):
		return is, "letters to an owner keep a distance, and one went out meanwhile; what is due waits for the next one", nil
	}
	return is, fmt.Sprintf("an owner gets %s in 365 days at most, and has had them; what is due waits until there may be one more", loops.Count(in.Policy.LettersAYear, "reminder")), nil
}

// comings are the entries that end what a letter of a machine's going says.
var comings = []loops.EntryKind{
	loops.KindIntake, loops.KindHandover, loops.KindReturn, loops.KindTransfer, loops.KindRetirement, loops.KindSwap,
}

// handoverAgain is the letter of the machine's going to this owner, as long as
// that is where it went last.
func (w *Workshop) handoverAgain(m loops.Message, owner loops.Owner, as writing) (is loops.Message, why string, err error) {
	var files []File
	var entries []loops.Entry
	for _, topic := range m.About {
		file, e, why, err := w.spokenOf(topic, owner)
		if why != "" || err != nil {
			return is, why, err
		}
		after := loops.Standing(file.History)
		after = after[1+slices.IndexFunc(after, func(o loops.Entry) bool { return o.ID == e.ID }):]
		if n := slices.IndexFunc(after, func(o loops.Entry) bool { return slices.Contains(comings, o.Kind) }); n >= 0 {
			return is, fmt.Sprintf("%s of %s came after it", after[n].Kind, after[n].Day.Long()), nil
		}
		if file.Loop.State.Charge == nil && e.Kind == loops.KindHandover {
			return is, "there is nothing in the loop any more", nil
		}
		files, entries = append(files, file), append(entries, e)
	}
	if len(files) == 0 {
		return is, "an earlier version wrote it without a note of what it is about; print it instead", nil
	}
	is, err = w.handoverMessage(files, entries, as)
	return is, "", err
}

// receiptAgain is the receipt of what of the answer still stands.
func (w *Workshop) receiptAgain(m loops.Message, owner loops.Owner, as writing) (is loops.Message, why string, err error) {
	var about []OwnersFile
	var topics []loops.Topic
	var answer loops.Answer
	why = "an earlier version wrote it without a note of what it is about"
	for _, topic := range m.About {
		file, e, gone, err := w.spokenOf(topic, owner)
		if err != nil {
			return is, "", err
		}
		if gone != "" {
			why = gone
			continue
		}
		for _, n := range e.Answer.Noticed {
			if !slices.Contains(answer.Noticed, n) {
				answer.Noticed = append(answer.Noticed, n)
			}
		}
		noticed := answer.Noticed
		answer = *e.Answer
		answer.Noticed = noticed
		about, topics = append(about, file.ForOwner()), append(topics, topic)
	}
	if len(about) == 0 {
		return is, why, nil
	}
	answer.Noticed = loops.NoticesOn(false, answer.Noticed)
	is, err = w.receiptMessage(owner, answer, about, topics, as)
	return is, "", err
}

// spokenOf finds the entry that a letter speaks of. Why says why it does not
// hold for the owner any more.
func (w *Workshop) spokenOf(topic loops.Topic, owner loops.Owner) (file File, e loops.Entry, why string, err error) {
	loop, err := w.register.Loop(topic.Loop)
	if err != nil {
		return file, e, "", err
	}
	if file, err = w.fileOf(loop); err != nil {
		return file, e, "", err
	}
	if file.Machine.Owner != owner.ID {
		return file, e, "the machine belongs to somebody else now", nil
	}
	standing := loops.Standing(file.History)
	n := slices.IndexFunc(standing, func(o loops.Entry) bool { return o.ID == topic.Entry })
	if n < 0 {
		return file, e, "the entry that it tells of was struck out", nil
	}
	return file, standing[n], "", nil
}
