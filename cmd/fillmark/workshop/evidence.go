// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"context"
	"errors"
	"fmt"
	"math"

	"fillmark/loops"
	"fillmark/loops/findings"
	"fillmark/schedule"
)

// generalCheck returns the interval of service checks that the policy has for
// loops of no special kind, in months: the default until openings say more.
func generalCheck(p loops.Policy) float64 {
	age, conditions := 12.0, math.MaxInt
	for _, i := range p.Intervals {
		if i.Task != loops.ServiceCheck || i.First {
			continue
		}
		n := len(i.Machines) + len(i.Fluids)
		if i.Sealed != nil {
			n++
		}
		if n < conditions {
			age, conditions = float64(i.Months)+float64(i.Days)/daysPerMonth, n
		}
	}
	return age
}

// evidenceOrigins are the origins that plans learn from. Of a charge of unknown
// origin nobody knows what it stands for.
func evidenceOrigins() []loops.Origin { return []loops.Origin{loops.WorkshopFill, loops.Factory} }

func everyone(Case) (string, bool) { return "", true }

// evidenceOf reckons what the cases teach: an age for each origin that has
// both failed and healthy charges, and what failed ones have in common.
func evidenceOf(cases []Case, defaultAge float64) (loops.Evidence, error) {
	var e loops.Evidence
	for _, origin := range evidenceOrigins() {
		lives, err := findings.NewLives(rowsOf(cases, origin, everyone))
		if err != nil {
			return e, err
		}
		basis := lives.Basis()
		if basis.Failures == 0 || basis.Right == 0 {
			continue
		}
		due, err := findings.EvidenceAge(lives, defaultAge)
		if err != nil {
			return e, err
		}
		e.Ages = append(e.Ages, ageOf(origin, due))
	}
	var err error
	e.Notices, err = noticesOf(cases)
	return e, err
}

// ageOf writes what findings reckoned as a record.
func ageOf(origin loops.Origin, due findings.Due) loops.EvidenceAge {
	age := loops.EvidenceAge{
		Origin: origin, Months: math.Min(due.Age, 1200), Lives: due.Basis.N, Failures: due.Basis.Failures, LoopMonths: due.Basis.UnderWatch,
		Text: fmt.Sprintf("%d of %s failed in %.0f loop-months under watch", due.Basis.Failures, counted(due.Basis.N, string(origin)+" charge"), due.Basis.UnderWatch),
	}
	if due.Clause == findings.ByLikelihood {
		age.Shape = math.Min(due.ShapeHigh, steepest)
	}
	return age
}

// steepest is the largest Weibull shape that looks at loops known good are
// reckoned with: steeper ones leave no time at all between two looks.
const steepest = 3

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
		answer, err := patternOf(cases, cause, nil)
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
		Reason: "Nothing on record tells the failed ones from the healthy ones.",
	}
	if answer.Good == 0 {
		n.Reason = "Pattern or chance cannot be told: no healthy loop is on record. Missing: loops of the same kind measured good."
		return n
	}
	for _, l := range answer.Lines {
		if l.FailedWith < noticedFrom || l.FailedWith*(l.GoodWith+l.GoodWithout) <= l.GoodWith*(l.FailedWith+l.FailedWithout) {
			continue // too few, or no more often than among the healthy ones
		}
		n.Trait, n.Failed, n.Of = l.Trait, l.FailedWith, l.FailedWith+l.GoodWith
		n.Text = fmt.Sprintf("%d of %s with %s %s.", n.Failed, counted(n.Of, "charge"), l.Words, failedWord(answer.Cause))
		n.Reason = l.Sentence
		if n.Reason == "" && len(l.Refused) > 0 {
			n.Reason = "Pattern or chance? " + capital(l.Refused[0].Why)
		}
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

// Learn reckons the evidence anew from the whole register, keeps it as the next
// version where it says something else, and brings the plans up to date that
// were made from another version. It returns how many plans it wrote.
func (w *Workshop) Learn(ctx context.Context, s Stamp) (int, error) {
	cases, err := w.Cases()
	if err != nil {
		return 0, fmt.Errorf("evidence: %w", err)
	}
	is, err := evidenceOf(cases, generalCheck(w.settings.Policy))
	if err != nil {
		return 0, fmt.Errorf("evidence: %w", err)
	}
	was, err := w.register.Evidence()
	if err != nil {
		return 0, err
	}
	if !is.Same(was) {
		is = is.Follow(was, s.At, loops.DayOf(s.At, w.settings.Zone))
		err := w.register.PutEvidence(is, s.By)
		if err != nil && !errors.Is(err, loops.ErrConflict) { // else somebody learnt the same just now
			return 0, err
		}
	}
	if err := w.RecallEvidence(); err != nil {
		return 0, err
	}
	done, err := w.Replan(ctx, s, replanBatch)
	return done.Renewed, err
}

// replanBatch is how many loops are planned anew in one change.
const replanBatch = 50

// RecallEvidence makes plans use the newest evidence on record.
func (w *Workshop) RecallEvidence() error {
	e, err := w.register.Evidence()
	if err == nil {
		w.UseEvidence(forPlan(e))
	}
	return err
}

func forPlan(e loops.Evidence) schedule.Evidence {
	out := schedule.Evidence{Version: e.Version}
	for _, a := range e.Ages {
		out.Ages = append(out.Ages, schedule.EvidenceAge{Origin: a.Origin, Months: a.Months, Shape: a.Shape, Text: a.Text, Since: a.Since})
	}
	return out
}
