// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"strings"
	"time"
)

// Plan is a loop's tasks with due days and the clauses behind each. The zero
// value is a loop that nothing is planned for.
type Plan struct {
	Tasks []Task `json:"tasks,omitempty"`
	// PolicyVersion tells what the plan was made from; EvidenceVersion stands in
	// older plans and says nothing any more.
	PolicyVersion   string `json:"policy_version,omitempty"`
	EvidenceVersion uint64 `json:"evidence_version,omitempty"`
	// Made is the instant it was made, UTC.
	Made time.Time `json:"made,omitzero"`
}

// Task is one thing due for a loop.
type Task struct {
	Kind TaskKind `json:"kind"`
	// Due is the earliest of the clauses' days.
	Due Day `json:"due"`
	// Paused tasks keep their day but nobody is reminded of them.
	Paused bool `json:"paused,omitempty"`
	// Clauses are all the reasons, earliest first: the first is the binding one.
	Clauses []Clause `json:"clauses"`
}

// Binding returns the clause that set the due day.
func (t Task) Binding() Clause {
	if len(t.Clauses) == 0 {
		return Clause{}
	}
	return t.Clauses[0]
}

// Clause is one reason for a task and the day it alone would set.
type Clause struct {
	Kind ClauseKind `json:"kind"`
	Day  Day        `json:"day"`
	// Text says the reason with its figures in one sentence, for technicians.
	Text string `json:"text"`
	// OwnerText says it in an owner's words; empty where it says the same.
	OwnerText string `json:"owner_text,omitempty"`
	Source    string `json:"source"` // where the figure is from
	Grade     string `json:"grade"`  // the source's grade, as the policy prints it
}

// ForOwner returns the reason as an owner reads it.
func (c Clause) ForOwner() string {
	if c.OwnerText != "" {
		return c.OwnerText
	}
	return c.Text
}

// SourceForOwner returns the source as an owner reads it: that nothing was
// published is the workshop's note to itself, and its statistics are what it saw.
func (c Clause) SourceForOwner() string {
	if c.Kind == ByEvidence {
		return "what we found in the machines that we opened"
	}
	return strings.NewReplacer("common practice, no source", "common practice in the trade", "this loop", "this machine").
		Replace(strings.TrimSpace(c.Source))
}

// ClauseKind is a kind of reason.
type ClauseKind string

// The kinds of clause.
const (
	ByInterval     ClauseKind = "interval"      // calendar interval of the policy
	ByFirstLook    ClauseKind = "first look"    // soon after a fill
	ByDeclaredLife ClauseKind = "declared life" // a label's life of fluid or additive
	BySeason       ClauseKind = "season"        // before the first frost
	ByEvidence     ClauseKind = "evidence"      // what opened loops showed
	ByTrend        ClauseKind = "trend"         // the loop's own readings
	ByLoss         ClauseKind = "loss"          // the loop's own loss of liquid
	ByFinding      ClauseKind = "finding"       // something seen that needs a look
	BySetting      ClauseKind = "setting"       // an interval or a pause of this loop's own
)

// Due is one line of the due index.
type Due struct {
	Day  Day      `json:"day"`
	Loop LoopID   `json:"loop"`
	Task TaskKind `json:"task"`
}

// Dues returns the due index lines of a loop's plan. A paused task has none.
func (l Loop) Dues() []Due {
	var dues []Due
	for _, t := range l.Plan.Tasks {
		if !t.Paused {
			dues = append(dues, Due{t.Due, l.ID, t.Kind})
		}
	}
	return dues
}
