// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import "slices"

// Condition is something about a loop that its pages, sheet, label and letters
// say before all else. They take word and sentences from here, so that one
// thing has one name.
type Condition struct {
	Kind  ConditionKind `json:"condition"`
	Since Day           `json:"since,omitzero"`
	// Text says it to a technician and OwnerText to the owner, with the caution
	// that goes with it, each in whole sentences.
	Text      string `json:"text"`
	OwnerText string `json:"owner_text"`
	// Task puts it right, and is due at once; empty where no task alone does.
	Task TaskKind `json:"task,omitempty"`
	// Off tells that the machine is to stay switched off.
	Off bool `json:"keep_off,omitempty"`
}

// ConditionKind is the word of a condition.
type ConditionKind string

// The words, the worst first.
const (
	IsContaminated ConditionKind = "contaminated"
	IsLeaking      ConditionKind = "leaking"
	IsFailed       ConditionKind = "failed"
	IsReturned     ConditionKind = "returned as it is"
	IsUnproved     ConditionKind = "not proven"
)

// Conditions says what stands against the loop, the worst first; none where
// nothing does. A loop that left service has none.
func (s State) Conditions() []Condition {
	if !s.Retired.IsZero() {
		return nil
	}
	var found []Condition
	if c := s.Contaminated; c != nil {
		found = append(found, Condition{
			Kind: IsContaminated, Since: c.Day, Task: CoolantChange, Off: true,
			Text: "Contaminated: " + c.String() + ", since " + c.Day.Long() +
				". Treat it as poisonous; no scale reads it, and only a drain, a rinse and a fill clear it.",
			OwnerText: "The wrong liquid got into what cools it; known since " + c.Day.Long() +
				". Treat what is in it as poisonous: keep children and animals away from it. Leave the machine switched off until the liquid has been changed.",
		})
	}
	if !s.Leaking.IsZero() {
		found = append(found, Condition{
			Kind: IsLeaking, Since: s.Leaking, Task: LeakCheckTask, Off: true,
			Text: "Leaking: a check ended wet on " + s.Leaking.Long() + ", and none of full length has stayed dry since. No power before it is repaired and dry.",
			OwnerText: "It leaked when the workshop last checked it, on " + s.Leaking.Long() +
				". Leave it switched off and unplugged, and keep children and animals away from anything wet.",
		})
	}
	if !s.Failed.IsZero() {
		found = append(found, Condition{
			Kind: IsFailed, Since: s.Failed, Off: true,
			Text:      "Failed: found on " + s.Failed.Long() + " (" + string(s.Cause) + "), and nothing was done about it since.",
			OwnerText: "On " + s.Failed.Long() + " the workshop found that it no longer cools as it should. Leave it switched off until it is repaired.",
		})
	}
	off := KeptOff(found) // what is to stay off is not spoken of as if it ran
	if !s.ReturnedAsIs.IsZero() {
		c := Condition{
			Kind: IsReturned, Since: s.ReturnedAsIs,
			Text:      "Returned as it is on " + s.ReturnedAsIs.Long() + ": nothing is planned for it.",
			OwnerText: "You had it back as it is on " + s.ReturnedAsIs.Long() + ": the workshop does not say that it is sound. If it gets hot, sounds wrong or is wet, switch it off and pull the plug.",
		}
		if off {
			c.OwnerText = "You had it back as it is on " + s.ReturnedAsIs.Long() + ": the workshop does not say that it is sound."
		}
		found = append(found, c)
	}
	if s.Unproved() {
		c := Condition{
			Kind: IsUnproved, Since: s.Charge.FilledTo,
			Text:      "NOT PROVEN: no valid proof stands since the fill of " + s.Charge.FilledTo.Long() + ".",
			OwnerText: "NOT PROVEN: no measurement shows that the repair holds. Stay with it while it first works hard, and switch it off if it gets hot or sounds wrong.",
		}
		if off {
			c.OwnerText = "NOT PROVEN: no measurement shows that the repair holds."
		}
		found = append(found, c)
	}
	return found
}

// KeptOff tells that one of the conditions asks to leave the machine off.
func KeptOff(all []Condition) bool {
	return slices.ContainsFunc(all, func(c Condition) bool { return c.Off })
}
