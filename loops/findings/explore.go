// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"errors"
	"fmt"
	"math"
)

// Trait is something that loops have or have not, counted by failure; more
// than one table if kinds of loops, such as fluids, must not be pooled.
type Trait struct {
	Name   string
	Strata Strata
}

// TraitAnswer says whether loops with a trait failed more often.
type TraitAnswer struct {
	Trait     string
	OddsRatio OddsRatio
	// Compared is how many traits were looked at, and Adjusted is P corrected
	// for that.
	Compared int
	Adjusted float64
	// Exploratory is set where the cases that suggested the trait are the ones
	// that were counted: such an answer is an idea and no proof.
	Exploratory bool
	Counted     Table // all strata added up, for the sentence only
	Sentence    string
	Firmer      string
	Refused     []Refusal
}

// Answer is the odds ratio in the form that all answers share; what is refused
// has no sentence there. Its Basis has counts alone.
func (a TraitAnswer) Answer() Answer {
	t := a.Counted
	failed, good := t.FailedWith+t.FailedWithout, t.GoodWith+t.GoodWithout
	out := Answer{Question: "trait", Value: Number(a.OddsRatio.Estimate), Lower: Number(a.OddsRatio.Lower), Upper: Number(a.OddsRatio.Upper),
		Basis: Basis{N: failed + good, Failures: failed, Right: good}, Sentence: a.Sentence, Firmer: a.Firmer}
	if math.IsNaN(a.OddsRatio.P) {
		out.Value, out.Lower, out.Upper = unknown(), unknown(), unknown()
	}
	return out
}

// Explore looks which of several traits goes with failure. However small the p,
// the answers are exploratory: register a [Watch] and let new cases decide.
// An *InvalidError names the trait with an impossible count.
func Explore(traits []Trait) ([]TraitAnswer, error) {
	out := make([]TraitAnswer, len(traits))
	p := make([]float64, len(traits))
	for i, t := range traits {
		a, err := askTrait(t)
		if err != nil {
			return nil, err
		}
		a.Exploratory, a.Compared = true, len(traits)
		out[i], p[i] = a, a.OddsRatio.P
	}
	for i, adjusted := range Holm(p) {
		a := &out[i]
		a.Adjusted = adjusted
		if len(a.Refused) > 0 {
			continue
		}
		a.Sentence = fmt.Sprintf("%s %s", tableSentence(a.Trait, a.Counted), oddsSentence(a.OddsRatio, adjusted))
		if len(traits) > 1 {
			a.Sentence += fmt.Sprintf(" The p is corrected for the %d traits compared.", len(traits))
		}
		a.Sentence += " The same cases suggested the pattern, so this is an idea and no proof."
		a.Firmer = "register a watch for it: lives that end from now on decide"
	}
	return out, nil
}

// askTrait tests one trait; where it refuses, P is NaN.
func askTrait(t Trait) (TraitAnswer, error) {
	a := TraitAnswer{Trait: t.Name, Compared: 1}
	for _, s := range t.Strata {
		a.Counted.FailedWith += s.FailedWith
		a.Counted.FailedWithout += s.FailedWithout
		a.Counted.GoodWith += s.GoodWith
		a.Counted.GoodWithout += s.GoodWithout
	}
	var err error
	a.OddsRatio, err = t.Strata.OddsRatio()
	switch {
	case errors.Is(err, ErrNoContrast):
		a.OddsRatio = OddsRatio{P: math.NaN(), Attainable: math.NaN()}
		a.Refused = append(a.Refused, Refusal{t.Name, "nothing to compare: " + missingSide(a.Counted)})
		return a, nil
	case err != nil:
		return a, fmt.Errorf("findings: trait %s: %w", t.Name, err)
	}
	a.Adjusted = a.OddsRatio.P
	if a.OddsRatio.Attainable >= significant {
		a.Refused = append(a.Refused, Refusal{t.Name, fmt.Sprintf(
			"no result could have been significant: with so few cases the smallest p that can be had is %.2f. %s", a.OddsRatio.Attainable, moreCases(a.Counted))})
	}
	return a, nil
}

// missingSide says which row or column of a table is empty.
func missingSide(t Table) string {
	switch {
	case t.FailedWith+t.FailedWithout == 0:
		return "no failed loop is on record. Missing: failures."
	case t.GoodWith+t.GoodWithout == 0:
		return "no healthy loop is on record. Missing: healthy loops of the same kind, with and without it."
	case t.FailedWith+t.GoodWith == 0:
		return "no loop on record has it. Missing: loops with it."
	case t.FailedWithout+t.GoodWithout == 0:
		return "every loop on record has it. Missing: loops without it."
	}
	return "no kind of loop on record has both failed and healthy ones, with and without it. Missing: these, of one kind."
}

// mostMore is how far moreCases looks.
const mostMore = 50

// moreCases says how many failures, all with the trait, could decide if the
// healthy loops stay as they are.
func moreCases(t Table) string {
	for k := 1; k <= mostMore; k++ {
		r, err := Table{FailedWith: k, GoodWith: t.GoodWith, GoodWithout: t.GoodWithout}.OddsRatio()
		if err == nil && r.P < significant {
			return fmt.Sprintf("Missing: at the least %d failures, all with it, against the healthy loops on record.", k)
		}
	}
	return "Missing: healthy loops without it."
}

func tableSentence(name string, t Table) string {
	return fmt.Sprintf("%s: %d of %d failed loops have it, and %d of %d healthy ones.", name, t.FailedWith, t.FailedWith+t.FailedWithout,
		t.GoodWith, t.GoodWith+t.GoodWithout)
}

// oddsSentence says how much the odds differ, by the p given.
func oddsSentence(r OddsRatio, p float64) string {
	odds := fmt.Sprintf("Odds of failure %s times those without it (95 %% limits %s to %s), %s", short(r.Estimate), short(r.Lower), short(r.Upper), pValue(p))
	switch {
	case math.IsInf(r.Upper, 1):
		odds = fmt.Sprintf("Odds of failure at least %s times those without it (95 %% confidence on either side), %s", short(r.Lower), pValue(p))
	case r.Lower == 0:
		odds = fmt.Sprintf("Odds of failure at most %s times those without it (95 %% confidence on either side), %s", short(r.Upper), pValue(p))
	}
	if p < significant {
		return "More than chance explains. " + odds + "."
	}
	return "Chance can explain that. " + odds + "."
}
