// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops

import (
	"fmt"
	"slices"

	"fillmark/chemistry"
)

// Judged is the verdict that an entry was recorded with: what the register
// knew spoke against it, and who went on all the same.
type Judged struct {
	Verdict chemistry.Verdict `json:"verdict"`
	// Reasons are those that were no go, the worst first.
	Reasons []JudgedReason `json:"reasons,omitempty"`
	// AlreadyDone tells that it had happened when it was judged: a fact that is
	// recorded, not a permission.
	AlreadyDone bool `json:"already_done,omitempty"`
	// Overruled are the rules that somebody set aside by name.
	Overruled []Overrule `json:"overruled,omitempty"`
}

// JudgedReason is one rule that spoke against an entry.
type JudgedReason struct {
	Rule    string            `json:"rule"`
	Verdict chemistry.Verdict `json:"verdict"`
	Text    string            `json:"text"`
}

// Overrule sets one rule aside for one act. By is who did it.
type Overrule struct {
	Rule string `json:"rule"`
	Why  string `json:"why"`
	By   string `json:"by,omitempty"`
}

// SetAside is a rule that was set aside for an act that the present charge
// rests on, with what the rule said.
type SetAside struct {
	Overrule
	Act  EntryKind `json:"act"`
	Day  Day       `json:"day"`
	Text string    `json:"text"`
}

// SetAsideSinceFill returns the rules that were set aside since the last fill,
// for it, and for the work on the bench that led to it: sheet, label and letters
// say them with their reasons. What was set aside for a charge goes with it.
func SetAsideSinceFill(history []Entry) []SetAside {
	var all []SetAside
	visit := 0 // where those of this stay on the bench begin
	for _, e := range Standing(history) {
		switch e.Kind {
		case KindIntake:
			visit = len(all)
		case KindFill:
			all = slices.DeleteFunc(all[visit:], func(a SetAside) bool {
				return a.Act != KindOpening && a.Act != KindDrain && a.Act != KindFlush && a.Act != KindClean
			})
			visit = 0
		case KindSwap:
			all, visit = nil, 0
		}
		if e.Judged == nil {
			continue
		}
		for _, o := range e.Judged.Overruled {
			aside := SetAside{Overrule: o, Act: e.Kind, Day: e.Day}
			for _, r := range e.Judged.Reasons {
				if r.Rule == o.Rule {
					aside.Text = r.Text
				}
			}
			all = append(all, aside)
		}
		if e.Kind == KindHandover || e.Kind == KindReturn {
			visit = len(all)
		}
	}
	return all
}

// MaxJudged is how many reasons, and how many overrules, an entry keeps at most.
const MaxJudged = 40

func (j *Judged) validate() error {
	var p problems
	p.add(oneOf("verdict", j.Verdict, chemistry.Go, chemistry.Care, chemistry.Stop))
	if len(j.Reasons) > MaxJudged || len(j.Overruled) > MaxJudged {
		p.add(invalid("reasons", len(j.Reasons)+len(j.Overruled), fmt.Sprintf("at most %d", MaxJudged)))
	}
	for _, r := range j.Reasons {
		p.add(requireText("rule", r.Rule, 100))
		p.add(checkText("reason", r.Text, 2000, false))
	}
	for _, o := range j.Overruled {
		p.add(requireText("rule", o.Rule, 100))
		p.add(requireText("why", o.Why, 500))
	}
	return p.err()
}
