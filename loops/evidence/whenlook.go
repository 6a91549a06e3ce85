// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"fmt"
	"math"
	"slices"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// WhenLook answers "when should I look?" for the charges of one origin in
// sealed or in open loops.
type WhenLook struct {
	Origin loops.Origin `json:"origin"`
	Sealed bool         `json:"sealed"`
	// Of says it in words: "workshop charges in sealed loops".
	Of string `json:"of"`
	// Default is the shop's rule in months. It stands: Early and Late are where a
	// look would cost least, if nothing is known of a loop since it was last
	// measured, and if all were good until today; null without a failure. None is
	// sought before three months or beyond twice the rule.
	Default float64         `json:"default_months"`
	Early   findings.Number `json:"early_months"`
	Late    findings.Number `json:"late_months"`
	// B10Lower and B10Upper bound the age by which one in ten has failed, from
	// the same two ends; an open upper end is null.
	B10Lower findings.Number `json:"b10_lower"`
	B10Upper findings.Number `json:"b10_upper"`
	// Noticed is for how many loop-months more the owners would have noticed a
	// pump that stopped or a leak, and did not.
	Noticed float64        `json:"noticed_loop_months"`
	Basis   findings.Basis `json:"basis"`
	// Sentences are the answer; RestsOn and Firmer stand behind it.
	Sentences []string           `json:"sentences"`
	RestsOn   string             `json:"rests_on"`
	Firmer    string             `json:"firmer"`
	Refused   []findings.Refusal `json:"refused"`
}

// WhenToLook answers "when should I look?" for each origin and build that
// charges are on record of, or for all where none are.
func WhenToLook(cases []Case, policy loops.Policy, costs findings.Costs, today loops.Day) ([]WhenLook, error) {
	answers := []WhenLook{}
	told := slices.DeleteFunc(strata(), func(s stratum) bool { return s.origin == loops.UnknownOrigin }) // nobody knows what it stands for
	for _, s := range told {
		own := s.of(cases)
		if len(own) == 0 && slices.ContainsFunc(told, func(s stratum) bool { return len(s.of(cases)) > 0 }) {
			continue
		}
		answer, err := whenLook(own, s, generalCheck(policy, s.sealed), costs, today)
		if err != nil {
			return nil, err
		}
		answers = append(answers, answer)
	}
	return answers, nil
}

// warning is for how many months on average a fault of a cause shows before it
// stops the loop (own rule, no source): flow falls slowly, a pump goes quickly.
func warning(c loops.Cause) float64 {
	switch c {
	case loops.CauseClog:
		return 6
	case loops.CausePump:
		return 2
	}
	return 3
}

// shortest is the least number of months between two looks (own rule, no source).
const shortest = 3

func whenLook(cases []Case, s stratum, policy float64, costs findings.Costs, today loops.Day) (WhenLook, error) {
	known, err := findings.NewLives(rowsOf(cases, everyone))
	if err != nil {
		return WhenLook{}, err
	}
	var all []Case
	for _, c := range cases {
		all = append(all, c.hopeful(today))
	}
	hopeful, err := findings.NewLives(rowsOf(all, everyone))
	if err != nil {
		return WhenLook{}, err
	}
	none := findings.Number(math.NaN())
	basis := known.Basis()
	a := WhenLook{
		Origin: s.origin, Sealed: s.sealed, Of: s.String(), Default: policy, Early: none, Late: none, B10Lower: none, B10Upper: none, Basis: basis,
		Refused: []findings.Refusal{}, RestsOn: basis.String(), Firmer: "healthy loops measured at older ages, and openings with their fill days",
		Sentences: []string{fmt.Sprintf("The shop's rule of %.3g months stands.", policy)},
	}
	if basis.N == 0 {
		a.RestsOn = "no age of " + s.String()
	}
	if basis.Failures == 0 || basis.Right == 0 {
		need, err := findings.ZeroFailureN(findings.DueShare, 0.95)
		if err != nil {
			return a, err
		}
		lacks := "healthy charges on record."
		if basis.Failures == 0 {
			lacks = fmt.Sprintf("failed charges on record, or %d charges measured good at %.3g months, which would show with 95 %% confidence that nine in ten last so long.", need, policy)
		}
		if basis.N == 0 {
			lacks = "healthy and " + lacks
		}
		a.Refused = append(a.Refused, findings.Refusal{What: "a look by its cost", Why: "missing: " + lacks})
		return a, nil
	}
	since, err := noticedBy(cases)
	if err != nil {
		return a, err
	}
	lower, upper := findings.LifeSpan(known, since, hopeful, findings.DueShare)
	a.B10Lower, a.B10Upper, a.Noticed = findings.Number(lower), findings.Number(upper), since.Lives.Basis().UnderWatch
	return a, a.worth(cases, known, hopeful, costs)
}

// noticedBy is the time after they were last measured in which the owners of the
// charges would have noticed some failures.
func noticedBy(cases []Case) (findings.Noticed, error) {
	var rows []findings.Life
	noticed, failures := 0, 0
	for _, c := range cases {
		if life, ok := c.noticed(); ok {
			rows = append(rows, life)
		}
		if c.LeftOut == "" && c.Failed {
			failures++
			if noticedCause(c.Cause) {
				noticed++
			}
		}
	}
	lives, err := findings.NewLives(rows)
	return findings.Noticed{Lives: lives, Share: findings.NoticedShare(noticed, failures)}, err
}

// worth says what looks are worth, at both ends of what is not known.
func (a *WhenLook) worth(cases []Case, known, hopeful findings.Lives, costs findings.Costs) error {
	var seen []findings.Seen
	for _, cause := range loops.Causes() {
		if !cause.InLoop() {
			continue
		}
		n := 0
		for _, c := range cases {
			if c.LeftOut == "" && c.Failed && c.Cause == cause {
				n++
			}
		}
		x := findings.Seen{Cause: string(cause), Failures: n, Warning: warning(cause)}
		if noticedCause(cause) {
			x.Noticed = a.Noticed
		}
		seen = append(seen, x)
	}
	plan, err := findings.PlanLooks(seen, known.Basis().UnderWatch, hopeful.Basis().UnderWatch, a.Default, shortest, costs)
	if err != nil {
		return err
	}
	a.Early, a.Late = findings.Number(plan.Early), findings.Number(plan.Late)
	a.Sentences = append(a.Sentences, fmt.Sprintf("%s failed in %.0f loop-months under watch, or in %.0f if every loop that was not seen is good.",
		loops.Capital(loops.CountOrNo(a.Basis.Failures, "charge")), known.Basis().UnderWatch, hopeful.Basis().UnderWatch))
	if a.Noticed >= 0.5 {
		a.Sentences = append(a.Sentences, fmt.Sprintf("For %.0f loop-months more the owners would have noticed a pump that stopped or a leak; that rules out no clog.", a.Noticed))
	}
	a.Sentences = append(a.Sentences,
		fmt.Sprintf("The age by which one in ten has failed: %s.", span(a.B10Lower, a.B10Upper)),
		fmt.Sprintf("By cost a look each %s would be right.", looks(plan)),
		fmt.Sprintf("%.0f %% of the rate of failure behind that is assumed from the rule, the rest rests on %s.", 100*plan.Prior, loops.CountOrNo(a.Basis.Failures, "failure")),
		fmt.Sprintf("In ten loops the rule's %.0f looks a year prevent about %.1f failures.", plan.Looks, plan.Prevented))
	return nil
}

// looks writes the two ends of when to look, in months; where the search for one
// stopped, that it lies there or beyond.
func looks(plan findings.Plan) string {
	end := func(age float64) string {
		switch {
		case age <= plan.Soonest:
			return fmt.Sprintf("%.3g months or sooner", age)
		case age >= plan.Latest:
			return fmt.Sprintf("%.3g months or later", age)
		}
		return fmt.Sprintf("%.1f months", age)
	}
	early, late := end(plan.Early), end(plan.Late)
	if early == late {
		return early
	}
	return early + " to " + late
}

// span writes the two ends of what is not known, in months.
func span(lower, upper findings.Number) string {
	switch {
	case !upper.Known():
		return fmt.Sprintf("%.1f months or more, up to an age that the record leaves open", float64(lower))
	case fmt.Sprintf("%.1f", float64(lower)) == fmt.Sprintf("%.1f", float64(upper)):
		return fmt.Sprintf("%.1f months", float64(lower))
	}
	return fmt.Sprintf("%.1f to %.1f months", float64(lower), float64(upper))
}
