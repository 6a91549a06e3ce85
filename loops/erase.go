// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// ErasedText stands where a person's words or name stood and something must.
const ErasedText = "erased"

// Erased returns the owner without anything that says who it was. The day
// becomes the day on which the mail stopped.
func (o Owner) Erased(day Day) Owner {
	return Owner{ID: o.ID, Revision: o.Revision, Name: ErasedText, MailStopped: day}
}

// Erased returns the machine without what the owner called it and handed in
// with it. Make and model stay: the findings need them.
func (m Machine) Erased() Machine {
	m.Name, m.Accessories, m.WarrantyNote, m.PromisedBack = string(m.Kind), nil, "", Day{}
	return m
}

// Erased returns the entry without notes and without what the owner said. What
// was measured, seen and done stays.
func (e Entry) Erased() Entry {
	e.Note = ""
	switch e.Kind {
	case KindIntake:
		e.Intake = &Intake{Symptom: e.Intake.Symptom, RunningHours: e.Intake.RunningHours}
	case KindAnswer:
		e.By, e.Answer = "owner", &Answer{Answer: e.Answer.Answer, Tasks: e.Answer.Tasks}
	case KindSetting:
		x := *e.Setting
		x.Why = ""
		e.Setting = &x
	case KindCorrection:
		e.Correction = &Correction{Strikes: e.Correction.Strikes, Why: ErasedText}
	}
	return e
}

// Erased returns the sample without its note.
func (s RetainedSample) Erased() RetainedSample {
	s.Note = ""
	return s
}

// Erased returns the message without its text, its addresses and its subject.
// One that had not gone out yet is dropped.
func (m Message) Erased() Message {
	m.From, m.To, m.Subject, m.Raw, m.LastError = "", "", "", nil, ""
	if m.Status == Queued || m.Status == Held {
		m.Status = Dropped
	}
	return m
}
