// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"slices"
	"strings"

	"fillmark/chemistry"
)

// StepID names a step of the wet work.
type StepID string

// Step is one thing to do at the bench between taking a loop apart and
// handing it back, with what to mind.
type Step struct {
	ID      StepID    `json:"step"`
	Phase   StepPhase `json:"phase"`
	Do      string    `json:"do"`
	Caution string    `json:"caution"`
	// Records says what figure is written down with it and Unit its unit; both
	// are empty where doing it is all there is.
	Records string `json:"records,omitempty"`
	Unit    string `json:"unit,omitempty"`
	// Finds are what can be found with it, one of which is written down; none
	// where nothing is looked for.
	Finds []string `json:"finds,omitempty"`
	// Only says for which loops it is; empty for all.
	Only   StepLoops       `json:"only,omitempty"`
	Source string          `json:"source"`
	Grade  chemistry.Grade `json:"grade"`
}

// StepLoops says for which loops a step is.
type StepLoops string

// The loops that a step can be for alone.
const (
	SealedOnly StepLoops = "sealed"
	OpenOnly   StepLoops = "open"
)

// StepPhase groups the steps in the order of the work.
type StepPhase string

// The phases of the wet work.
const (
	PhaseBefore    StepPhase = "before opening"
	PhaseDrain     StepPhase = "drain"
	PhaseJudge     StepPhase = "judge"
	PhaseClean     StepPhase = "clean and flush"
	PhaseRefill    StepPhase = "refill"
	PhaseLeakCheck StepPhase = "leak check"
	PhaseClose     StepPhase = "put together"
	PhaseProve     StepPhase = "prove"
)

// StepPhases lists the phases in the order of the work.
func StepPhases() []StepPhase {
	return []StepPhase{PhaseBefore, PhaseDrain, PhaseJudge, PhaseClean, PhaseRefill, PhaseLeakCheck, PhaseClose, PhaseProve}
}

// StepsFor lists the steps for a sealed or an open loop in their order.
func StepsFor(sealed bool) []Step {
	other := SealedOnly
	if sealed {
		other = OpenOnly
	}
	return slices.DeleteFunc(steps(), func(s Step) bool { return s.Only == other })
}

// StepIDs lists the names of all steps in their order.
func StepIDs() []StepID {
	var ids []StepID
	for _, s := range steps() {
		ids = append(ids, s.ID)
	}
	return ids
}

// Findings lists all that steps can find.
func Findings() []string {
	var all []string
	for _, s := range steps() {
		all = append(all, s.Finds...)
	}
	return all
}

// FoundNow is what the looks of this visit found and nothing since has changed,
// by the step that looked: a mount that was tightened again is tight.
func FoundNow(sealed bool, history []Entry) map[StepID]string {
	found := map[StepID]string{}
	for _, s := range StepsOf(sealed, history) {
		if s.Found != "" {
			found[s.ID] = s.Found
		}
		for look, done := range map[StepID]struct {
			by  StepID
			now string
		}{LookMount: {"screws", "tight"}, LookFan: {"airflow", ""}, LookDust: {"dust", "clean"}} {
			if s.ID == done.by && !s.Open() && !s.LeftOut && found[look] != "" {
				found[look] = done.now
			}
		}
	}
	return found
}

// StepDone records that a step was done, or left out with the reason in the
// entry's note.
type StepDone struct {
	Step StepID `json:"step"`
	// Value is what the step records, in its unit.
	Value *float64 `json:"value,omitempty"`
	// Found is what was found, where the step looks for something.
	Found string `json:"found,omitempty"`
	// LeftOut tells that the step was not done; the note says why.
	LeftOut bool `json:"left_out,omitempty"`
}

func (x *StepDone) validate() error {
	var p problems
	i := slices.IndexFunc(steps(), func(s Step) bool { return s.ID == x.Step })
	if i < 0 {
		p.add(oneOf("step", x.Step, StepIDs()...))
		return p.err()
	}
	optional(&p, "value", x.Value, -1e6, 1e6, "")
	if s := steps()[i]; x.Value != nil && s.Unit == "" {
		p.add(invalid("value", *x.Value, "none: the step "+string(s.ID)+" records no figure"))
	}
	switch s := steps()[i]; {
	case len(s.Finds) == 0 && x.Found != "":
		p.add(invalid("found", x.Found, "none: the step "+string(s.ID)+" looks for nothing"))
	case len(s.Finds) > 0 && x.LeftOut && x.Found != "":
		p.add(invalid("found", x.Found, "none where the step is left out"))
	case len(s.Finds) > 0 && !x.LeftOut:
		p.add(oneOf("found", x.Found, s.Finds...))
	}
	return p.err()
}

// StepState is one step of a loop and how it stands.
type StepState struct {
	Step
	// Done is the day it was done or left out; zero while it is open.
	Done    Day      `json:"done,omitzero"`
	By      string   `json:"by,omitempty"`
	Entry   EntryID  `json:"entry,omitzero"` // that says so
	Value   *float64 `json:"value,omitempty"`
	Found   string   `json:"found,omitempty"`
	LeftOut bool     `json:"left_out,omitempty"`
	Note    string   `json:"note,omitempty"`
}

// Open tells that the step is neither done nor left out.
func (s StepState) Open() bool { return s.Done.IsZero() }

// StepsOf folds how the steps of a loop's present visit stand. A visit begins
// with the last intake or, where the next one was not recorded as such, after
// the machine last went back; for another cooler all steps are open again. It is
// pure, and the order of recording does not matter between days; of one step
// recorded twice the later day counts.
func StepsOf(sealed bool, history []Entry) []StepState {
	states := make([]StepState, 0, 40)
	for _, s := range StepsFor(sealed) {
		states = append(states, StepState{Step: s})
	}
	for _, e := range Standing(history) {
		switch e.Kind {
		case KindIntake, KindHandover, KindReturn, KindSwap:
			for i := range states {
				states[i] = StepState{Step: states[i].Step}
			}
		case KindStep:
			i := slices.IndexFunc(states, func(s StepState) bool { return s.ID == e.Step.Step })
			if i >= 0 {
				states[i] = StepState{
					Step: states[i].Step, Done: e.Day, By: e.By, Entry: e.ID, Value: e.Step.Value, Found: e.Step.Found,
					LeftOut: e.Step.LeftOut, Note: strings.TrimSpace(e.Note),
				}
			}
		}
	}
	return states
}
