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

// strata are all of them, those first of whose charges it is known what they
// stand for.
func strata() []stratum {
	return []stratum{{loops.WorkshopFill, false}, {loops.WorkshopFill, true}, {loops.Factory, false}, {loops.Factory, true},
		{loops.UnknownOrigin, false}, {loops.UnknownOrigin, true}}
}

func (s stratum) String() string {
	return string(s.origin) + " charges in " + Build(s.sealed) + " loops"
}

// Build is the word for a loop that is sealed, or not.
func Build(sealed bool) string {
	if sealed {
		return "sealed"
	}
	return "open"
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

// noticedFrom is from how many loops with a failure on something is said on the
// first page.
const noticedFrom = 3

// noticesOf says which traits go with the failures of each cause by more than
// chance explains, the plainest of each cause.
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
		told := func(l PatternLine) bool {
			more := l.Ratio > 1 || !l.Upper.Known() && l.Lower > 1
			return l.FailedLoops >= noticedFrom && l.PAdjusted < significant && more && !sells(l)
		}
		if at := slices.IndexFunc(answer.Lines, told); at >= 0 {
			notices = append(notices, notice(cause, answer.Lines[at]))
		}
	}
	return notices, nil
}

// sells reports whether a trait, or one that parts the charges alike, names who
// makes or sells something: the first page accuses nobody.
func sells(l PatternLine) bool {
	for _, t := range append([]Trait{l.trait}, l.alike...) {
		if slices.Contains([]string{"maker", "model", "product", "lot"}, t.Key) {
			return true
		}
	}
	return false
}

func notice(cause loops.Cause, l PatternLine) loops.EvidenceNotice {
	of := l.FailedWith + l.GoodWith
	return loops.EvidenceNotice{
		Cause: cause, Trait: l.Trait, Failed: l.FailedWith, Of: of, Reason: l.Sentence,
		Text: fmt.Sprintf("%d of %s with %s %s, in %s; %.1f would be expected at their ages.", l.FailedWith, loops.CountOrNo(of, "charge"), l.Words, failedWord(cause),
			loops.CountOrNo(l.FailedLoops, "loop"), float64(l.Expected)),
	}
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
