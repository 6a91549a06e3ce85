// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

// CallOutcome is how a call to an owner ended.
type CallOutcome string

// How a call can end.
const (
	Reached    CallOutcome = "reached"
	NotReached CallOutcome = "not reached"
)

// CallOutcomes lists them.
func CallOutcomes() []CallOutcome { return []CallOutcome{Reached, NotReached} }

// OwnerCall is a call to the owner about the loop, or a try at one.
type OwnerCall struct {
	Outcome CallOutcome `json:"outcome"`
	// Agreed is the day on which somebody sees to the loop, as agreed in the
	// call; zero where no day was agreed.
	Agreed Day `json:"agreed,omitzero"`
}

func (x *OwnerCall) validate() error {
	var p problems
	p.add(oneOf("outcome", x.Outcome, CallOutcomes()...))
	if !x.Agreed.IsZero() {
		p.add(x.Agreed.validate("agreed"))
		if x.Outcome != Reached {
			p.add(invalid("agreed", x.Agreed.String(), "no day where nobody was reached"))
		}
	}
	return p.err()
}

// called folds a call. A day agreed stands until somebody sees to the loop or
// another is agreed.
func (s *State) called(day Day, x *OwnerCall) {
	if x.Outcome == NotReached {
		s.TriedInVain, s.Tries = day, s.Tries+1
		return
	}
	s.TriedInVain, s.Tries, s.Reached = Day{}, 0, day
	if !x.Agreed.IsZero() {
		s.Agreed = x.Agreed
	}
}

// seenTo folds that somebody saw to the loop: what was agreed in calls is done
// with.
func (s *State) seenTo() {
	s.Agreed, s.QuietUntil, s.Reached, s.TriedInVain, s.Tries = Day{}, Day{}, Day{}, Day{}, 0
}
