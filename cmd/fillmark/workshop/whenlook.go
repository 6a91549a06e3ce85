// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"fmt"
	"slices"

	"fillmark/loops"
	"fillmark/loops/findings"
	"fillmark/schedule"
)

// WhenLook answers "when should I look?" for the charges of one origin in
// sealed or in open loops.
type WhenLook struct {
	Origin loops.Origin `json:"origin"`
	Sealed bool         `json:"sealed"`
	// Of says it in words: "workshop charges in sealed loops".
	Of string `json:"of"`
	// Default is the shop's rule in months, which counts until openings say
	// more. Age is what they say now; nil where they say nothing.
	Default float64            `json:"default_months"`
	Age     *loops.EvidenceAge `json:"evidence"`
	Clause  findings.Clause    `json:"clause,omitempty"`
	B10     findings.BLife     `json:"b10"`
	Basis   findings.Basis     `json:"basis"`
	// Sentence is the answer; RestsOn and Firmer stand behind it.
	Sentence string             `json:"sentence,omitempty"`
	RestsOn  string             `json:"rests_on"`
	Firmer   string             `json:"firmer"`
	Refused  []findings.Refusal `json:"refused"`
	// Moves are the service checks that the evidence brings forward.
	Moves []Moved `json:"moves"`
}

// Moved is a service check that evidence brings forward.
type Moved struct {
	Tag     loops.Tag `json:"tag"`
	Machine string    `json:"machine"`
	Was     loops.Day `json:"was"`
	Is      loops.Day `json:"is"`
}

// WhenToLook answers "when should I look?" for each origin and build that
// charges are on record of, or for all where none are.
func (w *Workshop) WhenToLook() ([]WhenLook, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	evidence, err := w.register.Evidence()
	if err != nil {
		return nil, err
	}
	moves, err := w.moved(evidence)
	if err != nil {
		return nil, err
	}
	answers := []WhenLook{}
	for _, s := range strata() {
		own := s.of(cases)
		if len(own) == 0 && slices.ContainsFunc(strata(), func(s stratum) bool { return len(s.of(cases)) > 0 }) {
			continue
		}
		answer, err := whenLook(own, s, generalCheck(w.settings.Policy, s.sealed))
		if err != nil {
			return nil, err
		}
		if answer.Age != nil && moves[s] != nil {
			answer.Moves = moves[s]
		}
		answers = append(answers, answer)
	}
	return answers, nil
}

func whenLook(cases []Case, s stratum, defaultAge float64) (WhenLook, error) {
	lives, err := findings.NewLives(rowsOf(cases, s.origin, everyone))
	if err != nil {
		return WhenLook{}, err
	}
	report := findings.Analyse(lives, findings.FromRegister)
	a := WhenLook{
		Origin: s.origin, Sealed: s.sealed, Of: s.String(), Default: defaultAge, B10: report.B10, Basis: report.Basis, Refused: []findings.Refusal{}, Moves: []Moved{},
		RestsOn: report.Basis.String(), Firmer: "healthy loops measured at older ages, and openings with their fill days",
	}
	if report.Basis.N == 0 {
		a.RestsOn = "no age of " + s.String()
	}
	for _, r := range report.Refused {
		if r.What == "ages" || r.What == "b10" {
			a.Refused = append(a.Refused, r)
		}
	}
	for _, answer := range report.Answers {
		if answer.Question == "b10" {
			a.Sentence, a.Firmer = answer.Sentence, answer.Firmer
		}
	}
	if report.Basis.Failures == 0 || report.Basis.Right == 0 {
		need, err := findings.ZeroFailureN(findings.DueShare, 0.95)
		if err != nil {
			return a, err
		}
		a.Refused = append(a.Refused, findings.Refusal{What: "evidence age", Why: fmt.Sprintf("the shop's rule of %.3g months stands. Missing: failed and healthy charges on record, "+
			"or %d charges measured good at that age, which would show with 95 %% confidence that nine in ten last so long.", defaultAge, need)})
		return a, nil
	}
	due, err := findings.EvidenceAge(lives, defaultAge)
	if err != nil {
		return a, err
	}
	a.Age, a.Clause = new(ageOf(s, due, cases)), due.Clause
	a.Sentence = fmt.Sprintf("Look at %s by %.1f months after the fill, so that at most one in ten has failed by then. %s", s, due.Age, a.Sentence)
	if due.Chance {
		a.Sentence += " The record does not show that older charges fail more often; where failures come by chance this rule learns slowly."
	}
	return a, nil
}

// moved plans every loop in service with the evidence and without, and lists
// the service checks that it brings forward, by stratum.
func (w *Workshop) moved(e loops.Evidence) (map[stratum][]Moved, error) {
	moves := map[stratum][]Moved{}
	containers, err := w.containersByLoop()
	if err != nil {
		return nil, err
	}
	for l, err := range w.register.Loops() {
		if err != nil {
			return nil, err
		}
		if !l.State.InService() {
			continue
		}
		machine, err := w.register.Machine(l.Machine)
		if err != nil {
			return nil, err
		}
		history, err := w.register.History(l.ID)
		if err != nil {
			return nil, err
		}
		day := func(e schedule.Evidence) (loops.Day, error) {
			plan, err := schedule.PlanLoop(w.planInput(machine, l, history, containers[l.ID], e))
			at := slices.IndexFunc(plan.Tasks, func(t loops.Task) bool { return t.Kind == loops.ServiceCheck })
			if err != nil || at < 0 {
				return loops.Day{}, err
			}
			return plan.Tasks[at].Due, nil
		}
		was, err := day(schedule.Evidence{})
		if err != nil {
			return nil, err
		}
		is, err := day(forPlan(e))
		if err != nil {
			return nil, err
		}
		if is != was && !is.IsZero() {
			of := stratum{l.State.Charge.Origin, l.Sealed}
			moves[of] = append(moves[of], Moved{l.Tag, machine.Name, was, is})
		}
	}
	for _, list := range moves {
		slices.SortFunc(list, func(a, b Moved) int { return a.Is.Compare(b.Is) })
	}
	return moves, nil
}
