// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"
)

// TaskKind is something that can be due for a loop.
type TaskKind string

// The kinds of task.
const (
	Look             TaskKind = "look"          // the owner's look-over
	ServiceCheck     TaskKind = "service check" // the technician's
	TopUpTask        TaskKind = "top-up"
	InhibitorRenewal TaskKind = "inhibitor renewal"
	BiocideRenewal   TaskKind = "biocide renewal"
	CoolantChange    TaskKind = "coolant change"
	LeakCheckTask    TaskKind = "leak check"
)

// TaskAbout is all that is said about a kind of task, and how it is done. What
// an owner reads is free of the trade's words.
type TaskAbout struct {
	Kind  TaskKind
	Title string // to a technician: "Look over"
	// OwnerTitle heads it in letters and calendars, OwnerNeeds ends "The cooling
	// of your computer needs …", OwnerThen stands under "What comes next".
	OwnerTitle, OwnerNeeds, OwnerThen string
	// every and ownerEvery lead to an interval: "Look over", "every 3 months".
	every, ownerEvery string
	// ByOwner tells that the owner does it; all else is done in the workshop.
	ByOwner bool
	// CompletedBy is the entry that it is done with.
	CompletedBy EntryKind
	// Sealed is what is done to a sealed loop instead; empty where the task is
	// done to it too.
	Sealed TaskKind
	// BroughtBy is the task that brings this one along when both are due; empty
	// where none does.
	BroughtBy TaskKind
}

// Tasks is the table of the kinds of task, in the order they are shown. A kind
// is named here and where its days are worked out, and nowhere else.
func Tasks() []TaskAbout {
	return []TaskAbout{
		{
			Kind: Look, Title: "Look over", OwnerTitle: "Look-over", OwnerNeeds: "a look from you", OwnerThen: "You look it over",
			every: "Look over", ownerEvery: "A short look-over keeps small troubles small:",
			ByOwner: true, CompletedBy: KindAnswer,
		},
		{
			Kind: ServiceCheck, Title: "Service check", OwnerTitle: "Check in the workshop", OwnerNeeds: "a check in our workshop",
			OwnerThen: "We check it in the workshop", every: "Service check",
			ownerEvery: "The workshop measures how well the machine is cooled", CompletedBy: KindInspection,
		},
		{
			Kind: TopUpTask, Title: "Top-up", OwnerTitle: "Topping up in the workshop", OwnerNeeds: "topping up in our workshop",
			OwnerThen: "We top up the liquid that cools it", every: "Top up", ownerEvery: "The cooling liquid is topped up",
			CompletedBy: KindTopUp, Sealed: ServiceCheck,
		},
		{
			Kind: InhibitorRenewal, Title: "Inhibitor renewal", OwnerTitle: "New corrosion protection",
			OwnerNeeds: "new protection against corrosion", OwnerThen: "We renew what keeps it from corroding",
			every: "Renew the inhibitor", ownerEvery: "The corrosion protection is renewed",
			CompletedBy: KindDose, Sealed: CoolantChange, BroughtBy: CoolantChange,
		},
		{
			// A biocide gone by its label is no reason to open a sealed loop:
			// opening lets in what it kept away, and a change each year does so
			// each year. A check that opens nothing asks how it cools instead.
			Kind: BiocideRenewal, Title: "Biocide renewal", OwnerTitle: "New protection against algae and slime",
			OwnerNeeds: "new protection against algae and slime in the liquid", OwnerThen: "We renew what keeps the liquid from spoiling",
			every: "Renew the biocide", ownerEvery: "The protection against algae and slime is renewed",
			CompletedBy: KindDose, Sealed: ServiceCheck, BroughtBy: CoolantChange,
		},
		{
			Kind: CoolantChange, Title: "Coolant change", OwnerTitle: "Fresh liquid", OwnerNeeds: "fresh liquid",
			OwnerThen: "We change the liquid that cools it", every: "Change the coolant", ownerEvery: "The cooling liquid is changed",
			CompletedBy: KindFill,
		},
		{
			Kind: LeakCheckTask, Title: "Leak check", OwnerTitle: "Check for leaks", OwnerNeeds: "a check for leaks in our workshop",
			OwnerThen: "We check it for leaks", every: "Check for leaks", ownerEvery: "The workshop checks for drips",
			CompletedBy: KindLeakCheck,
		},
	}
}

// AboutTask returns the row of a kind; ok is false where there is none.
func AboutTask(kind TaskKind) (about TaskAbout, ok bool) {
	table := Tasks()
	i := slices.IndexFunc(table, func(a TaskAbout) bool { return a.Kind == kind })
	if i < 0 {
		return TaskAbout{}, false
	}
	return table[i], true
}

// Every says an interval of the task as a technician reads it: "Look over every
// 3 months".
func (a TaskAbout) Every(i Interval) string { return a.every + " " + i.Every() }

// OwnerEvery says it to an owner, as a sentence.
func (a TaskAbout) OwnerEvery(i Interval) string { return a.ownerEvery + " " + i.Every() + "." }

// TaskKinds lists the kinds in the order they are shown.
func TaskKinds() []TaskKind {
	var kinds []TaskKind
	for _, a := range Tasks() {
		kinds = append(kinds, a.Kind)
	}
	return kinds
}

func taskOrder(k TaskKind) int { return slices.Index(TaskKinds(), k) }
