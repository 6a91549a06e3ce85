// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package evidence says what the histories of loops teach: it reads the life of
// each charge from them, and what it had and others had not, and lets
// [fillmark/loops/findings] answer.
//
// [Kept] is a loop with its history, and [Case] the life of one of its charges.
// [Pattern] asks "pattern or chance?", [HowLong] "how long do these last?",
// [WhenToLook] "when should I look?", [TestWatch] whether a pattern stood the
// test of what came later, [Summarise] what a maker may be shown, and [Of] what
// the technician is told on the first page.
//
// Ages are in months since the fill (30.4375 days). Everything is a pure function
// of its arguments and safe for concurrent use. What people typed and cannot be
// right is a *loops.InvalidError.
package evidence

import (
	"fmt"
	"slices"

	"fillmark/loops"
)

// generalCheck returns the interval of service checks that the policy has for
// sealed or open loops of no special kind, in months: the default until
// openings say more. The workshop's own figure counts before a shipped one.
func generalCheck(p loops.Policy, sealed bool) float64 {
	age, best := 12.0, -1
	for _, i := range p.Intervals {
		if i.Task != loops.ServiceCheck || i.First || len(i.Machines)+len(i.Fluids) > 0 || i.Sealed != nil && *i.Sealed != sealed {
			continue
		}
		rank := 0
		if i.Own {
			rank += 2
		}
		if i.Sealed != nil {
			rank++
		}
		if rank > best {
			age, best = float64(i.Months)+float64(i.Days)/daysPerMonth, rank
		}
	}
	return age
}

// stratum is what ages are never pooled beyond: charges of one origin, in loops
// of one build. A sealed loop that nobody can refill and an open one with a
// reservoir clog at ages of their own, and one weak make of sealed cooler says
// nothing about a chiller.
type stratum struct {
	origin loops.Origin
	sealed bool
}

// strata are those that looks are told for. Of a charge of unknown origin nobody
// knows what it stands for.
func strata() []stratum {
	return []stratum{{loops.WorkshopFill, false}, {loops.WorkshopFill, true}, {loops.Factory, false}, {loops.Factory, true}}
}

func (s stratum) String() string {
	if s.sealed {
		return string(s.origin) + " charges in sealed loops"
	}
	return string(s.origin) + " charges in open loops"
}

// of returns the cases of the stratum.
func (s stratum) of(cases []Case) []Case {
	return slices.DeleteFunc(slices.Clone(cases), func(c Case) bool { return c.Origin != s.origin || c.Sealed != s.sealed })
}

func everyone(Case) (string, bool) { return "", true }

// Of works out what the cases teach: what failed charges have in common. Plans
// are not moved by it; [WhenToLook] says what a look is worth.
func Of(cases []Case) (loops.Evidence, error) {
	notices, err := noticesOf(cases)
	return loops.Evidence{Notices: notices}, err
}

// significant is the p below which a difference is called one.
const significant = 0.05

// noticedFrom is from how many failures on something is said on the first page.
const noticedFrom = 3

// noticesOf says what the failures of each cause have in common, from the
// third on.
func noticesOf(cases []Case) ([]loops.EvidenceNotice, error) {
	var notices []loops.EvidenceNotice
	for _, cause := range loops.Causes() {
		if !cause.InLoop() {
			continue
		}
		answer, err := Pattern(cases, cause)
		if err != nil {
			return nil, err
		}
		if answer.Failed >= noticedFrom {
			notices = append(notices, noticeOf(answer))
		}
	}
	return notices, nil
}

// noticeOf takes the trait that tells the failed charges apart the best.
func noticeOf(answer PatternAnswer) loops.EvidenceNotice {
	n := loops.EvidenceNotice{
		Cause: answer.Cause, Failed: answer.Failed, Of: answer.Failed + answer.Good,
		Text:   fmt.Sprintf("%d of %s %s.", answer.Failed, counted(answer.Failed+answer.Good, "charge"), failedWord(answer.Cause)),
		Reason: "Nothing on record tells them from the healthy ones of their age by more than chance.",
	}
	if answer.Good == 0 {
		n.Reason = "Pattern or chance cannot be told: no healthy loop is on record. Missing: loops of the same kind measured good."
		return n
	}
	for _, l := range answer.Lines {
		if l.FailedWith < noticedFrom || !(l.PAdjusted < significant) || !(l.Ratio > 1) && l.Upper.Known() {
			continue // a pattern that chance explains is not one to be told here
		}
		n.Trait, n.Failed, n.Of = l.Trait, l.FailedWith, l.FailedWith+l.GoodWith
		n.Text = fmt.Sprintf("%d of %s with %s %s; %.1f would be expected at their ages.", n.Failed, counted(n.Of, "charge"), l.Words, failedWord(answer.Cause), float64(l.Expected))
		n.Reason = l.Sentence
		return n
	}
	return n
}

// failedWord is what a cause did, in the past.
func failedWord(c loops.Cause) string {
	switch c {
	case loops.CauseClog:
		return "clogged"
	case loops.CausePump:
		return "lost their pump"
	case loops.CauseLeak:
		return "leaked"
	}
	return "failed"
}
