// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "slices"

// ErasedText stands where a person's words or name stood and something must.
const ErasedText = "erased"

// Erasing says what of an owner and of a machine goes when the owner is erased.
// It comes in from where the fields of records are described, so that a field
// that is marked personal there goes without being listed again.
type Erasing struct {
	// Owner returns the owner without anything that says who it was; the day
	// becomes the day on which the mail stopped.
	Owner func(o Owner, day Day) Owner
	// Machine returns the machine without what the owner called it and handed in
	// with it. Make and model stay: the findings need them.
	Machine func(Machine) Machine
	// Naming are the texts that say who the owner is, such as name and address.
	// Where one stands in any record it goes, and the rest of the text stays.
	Naming Phrases
	// Parts are parts of the name: the owner's in the loops that they have and
	// had, anybody's elsewhere.
	Parts Phrases
}

// IsErased tells that the owner was erased, and nobody was put in their place since.
func (o Owner) IsErased() bool { return o.Name == ErasedText && o.Email == "" }

// Erased returns the entry without notes and without what the owner said. What
// was measured, seen and done stays.
func (e Entry) Erased() Entry {
	e.Note = ""
	switch e.Kind {
	case KindIntake:
		e.Intake = &Intake{Symptom: e.Intake.Symptom, RunningHours: e.Intake.RunningHours}
	case KindAnswer:
		e.By, e.Answer = "owner", &Answer{Answer: e.Answer.Answer, Tasks: e.Answer.Tasks, On: e.Answer.On, Die: e.Answer.Die, Room: e.Answer.Room, Ran: e.Answer.Ran}
	case KindSetting:
		x := *e.Setting
		x.Why = ""
		e.Setting = &x
	case KindCorrection:
		e.Correction = &Correction{Strikes: e.Correction.Strikes, Why: ErasedText}
	case KindNote:
		e.Note = ErasedText
	case KindReturn:
		e.Return = &Return{Why: ErasedText}
	case KindSwap:
		x := *e.Swap
		x.Why = ""
		e.Swap = &x
	case KindWork:
		x := *e.Work
		x.Item = ErasedText
		e.Work = &x
	case KindHandover:
		if e.Handover.Unproved != "" { // that it was not proven stays
			x := *e.Handover
			x.Unproved = ErasedText
			e.Handover = &x
		}
	}
	if e.Judged != nil && len(e.Judged.Overruled) > 0 {
		x := *e.Judged
		x.Overruled = slices.Clone(x.Overruled)
		for i := range x.Overruled {
			x.Overruled[i].Why = ErasedText
		}
		e.Judged = &x
	}
	return e
}

// HeldBy tells of each entry of a history whether the owner had the machine
// when it was recorded, given who has the machine now. A transfer is of both
// owners, whether or not it was struck out: the machine went.
func HeldBy(owner, now OwnerID, history []Entry) []bool {
	held := make([]bool, len(history))
	for i, e := range slices.Backward(history) {
		held[i] = now == owner
		if e.Kind == KindTransfer {
			now = e.Transfer.From
			held[i] = held[i] || now == owner
		}
	}
	return held
}

// Erased returns the plan without the words of settings, which may be about an
// owner who had the machine before. What is due stays; the plan is of no policy
// in use, so that the next pass over all plans makes it again.
func (p Plan) Erased() Plan {
	p.Tasks, p.PolicyVersion = slices.Clone(p.Tasks), ErasedText
	for i, t := range p.Tasks {
		p.Tasks[i].Clauses = slices.Clone(t.Clauses)
		for j, c := range t.Clauses {
			if c.Kind == BySetting {
				p.Tasks[i].Clauses[j].Text, p.Tasks[i].Clauses[j].OwnerText = "A setting of this loop.", ""
			}
		}
	}
	return p
}

// Erased returns the sample without its note.
func (s RetainedSample) Erased() RetainedSample {
	s.Note = ""
	return s
}

// Erased returns the message without its text, its addresses and its subject.
// One that had not gone out yet is dropped; that one came back stays, since it
// tells that the relay had taken it.
func (m Message) Erased() Message {
	m.From, m.To, m.Subject, m.Raw, m.LastError = "", "", "", nil, m.cameBack()
	m.Signature, m.Note = nil, ""
	if m.Status == Queued || m.Status == Held {
		m.Status = Dropped
	}
	return m
}
