// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule

import (
	"fmt"

	"fillmark/loops"
)

// Call is a task that a technician takes up with the owner, because mail has
// done what it can or may not be sent.
type Call struct {
	Staged
	Reason string // why a person is needed, in half a sentence
	// Evidence is what was written to the owner about it and what became of that;
	// empty where no mail was to go.
	Evidence string
	// Letter tells that a printed letter can go instead: there is an address.
	Letter bool
}

// newCall is the call about an item; ok is false where nobody has to call.
func newCall(p loops.Policy, s Staged, today loops.Day) (c Call, ok bool) {
	reason := whyCall(p, s, today)
	if reason == "" || spoken(s.Loop.State, today) {
		return c, false
	}
	if state := s.Loop.State; state.Tries > 0 {
		reason += fmt.Sprintf("; not reached on %s, %s", state.TriedInVain.Long(), times(state.Tries))
	}
	c = Call{Staged: s, Reason: reason, Letter: mayWrite(s.Owner)}
	if s.Owner.MayMail() && !s.Loop.State.Wanted() {
		c.Evidence = s.Letters.Evidence()
	}
	return c, true
}

func times(n int) string {
	if n == 1 {
		return "tried once"
	}
	return fmt.Sprintf("tried %d times", n)
}

// quietAfterCall is for how many days an owner who was reached by telephone is
// neither called nor written to about the loop (common practice, no source).
const quietAfterCall = 7

// spoken tells that the owner was lately spoken to about the loop, that a day was
// agreed that is not over, or that they want no reminder yet. What the owner asks
// for since then ends it.
func spoken(s loops.State, today loops.Day) bool {
	if s.Wanted() {
		return false
	}
	if s.QuietUntil.After(today) {
		return true
	}
	if !s.Agreed.IsZero() {
		return !today.After(s.Agreed)
	}
	return !s.Reached.IsZero() && today.Sub(s.Reached) < quietAfterCall
}

// ActOn is the day on which somebody is to see to the item: the day that was
// agreed with the owner, else the task's own.
func (i Item) ActOn() loops.Day {
	if agreed := i.Loop.State.Agreed; !agreed.IsZero() {
		return agreed
	}
	return i.Task.Due
}

// whyCall says why a person has to take the item up; "" where mail does.
func whyCall(p loops.Policy, s Staged, today loops.Day) string {
	answered, ok := AnsweredFor(p, s.Loop, s.Task)
	switch o, state := s.Owner, s.Loop.State; {
	case !state.Asked.IsZero():
		asked := loops.Answer{Answer: state.AskedFor, Noticed: state.AskedNoticed}
		if state.AskedFor == loops.ProposeDay {
			asked.On = state.Agreed
		}
		return fmt.Sprintf("answered %q on %s", asked.Said(), state.Asked.Long())
	case !state.PassedOn.IsZero():
		return fmt.Sprintf("answered %q on %s", loops.PassedOn, state.PassedOn.Long())
	case !state.Agreed.IsZero() && today.After(state.Agreed):
		return "agreed for " + state.Agreed.Long() + ", and nothing was recorded since"
	case ok && s.Stage == loops.StageCall:
		return "answered on " + answered.Long() + ", and it is not done yet"
	case o.Email == "":
		return "no mail address on record"
	case !o.MailStopped.IsZero():
		return "stopped the mail on " + o.MailStopped.Long()
	case !o.Consent.Mail:
		return "has not agreed to reminders by mail"
	case s.MailFault != "":
		return "mail does not arrive: " + s.MailFault
	case s.Stage == loops.StageCall && len(s.Letters.Stages) == 0:
		return "no reminder went out"
	case s.Stage == loops.StageCall:
		return "mail has not settled it"
	}
	return ""
}
