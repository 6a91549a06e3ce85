// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import "fillmark/loops"

// Intake takes a machine in.
type Intake struct {
	Doing
	loops.Intake
}

func intakeAct() Definition {
	return define(Definition{
		Name: "intake", Done: "Taken in", Kind: loops.KindIntake,
		Short: "Take the machine in, and write down why it came",
		Examples: []string{
			`7K3QXW --complaint "loud since May" --hour-meter 8120h`,
			`7K3QXW --complaint "drips" --photo front.jpg --photo dent.jpg`,
		},
	}, fields[Intake]{
		one(Field{Name: "complaint", Label: "the owner says", Help: "in the owner's words", Example: `"loud since May"`, Needed: true, Personal: true}, lines(), func(a *Intake) *string { return &a.Complaint }),
		one(Field{Name: "symptom", Label: "seen", Help: "what was seen at the bench"}, lines(), func(a *Intake) *string { return &a.Symptom }),
		may(Field{Name: "hour-meter", Also: []string{"running hours"}, Label: "hour meter", Help: "hour meter, where there is one", Example: "8120h"}, plain("HOURS", "h"), func(a *Intake) **float64 { return &a.RunningHours }),
		many(Field{Name: "photo", Label: "photos", Help: "a photo as it came in; repeat", Personal: true}, photo(), func(a *Intake) *[]string { return &a.Photos }),
	}, func(e loops.Entry) Intake { return Intake{Intake: *e.Intake} })
}

// photo is a photo kept beside the register, by its hash.
func photo() kind[string] {
	k := words()
	k.word, k.show = "PHOTO", func(hash string) string { return hash[:min(8, len(hash))] }
	return k
}

// Judge minds the hour meter; nothing speaks against taking a machine in.
func (a *Intake) Judge(s Snapshot, today loops.Day) []Reason {
	return s.meter(s.On(a.on(today)), a.RunningHours)
}

// Apply takes it in.
func (a *Intake) Apply(_ Snapshot, today loops.Day) loops.Change {
	return a.writes(loops.Entry{Kind: loops.KindIntake, Intake: &a.Intake}, today)
}
