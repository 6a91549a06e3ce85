// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Case is one life that tells about a trait.
type Case struct {
	Life Life
	With bool   // has the trait
	Kind string // what must not be pooled, such as the fluid; may be empty
}

// Trait is something that loops have or have not.
type Trait struct {
	Name  string
	Cases []Case
}

// TraitAnswer says whether loops with a trait fail more often than others of
// the same age.
type TraitAnswer struct {
	Trait string
	Ratio HazardRatio // P is NaN where nothing could be compared
	// Compared is how many traits could be compared, and Adjusted is P corrected
	// for that.
	Compared int
	Adjusted float64
	// Exploratory is set where the cases that suggested the trait are the ones
	// that were counted: such an answer is an idea and no proof.
	Exploratory bool
	Sentence    string
	Firmer      string
	Refused     []Refusal
}

// Explore looks which of several traits goes with failure. However small the p,
// the answers are exploratory: register a [Watch] and let later cases decide.
// An *InvalidError names the trait with an impossible life.
func Explore(traits []Trait) ([]TraitAnswer, error) {
	out := make([]TraitAnswer, len(traits))
	p := make([]float64, len(traits))
	told := 0 // how many have a p
	for i, t := range traits {
		a, err := t.ask()
		if err != nil {
			return nil, err
		}
		a.Exploratory = true
		if out[i], p[i] = a, a.Ratio.P; p[i] == p[i] {
			told++
		}
	}
	for i, adjusted := range Holm(p) {
		a := &out[i]
		a.Adjusted, a.Compared = adjusted, told
		if a.refuseFew(told); len(a.Refused) > 0 {
			continue
		}
		a.Sentence = a.Trait + ": " + a.Ratio.sentence(adjusted)
		if told > 1 {
			a.Sentence += fmt.Sprintf(" The p is corrected for the %d traits compared.", told)
		}
		a.Sentence += " The same cases suggested the pattern, so this is an idea and no proof."
		a.Firmer = "register a watch for it: what happens from now on decides"
	}
	return out, nil
}

// The names of the two sides.
const (
	with    = "with"
	without = "without"
)

// ask compares the loops that have the trait with the others; where nothing can
// be compared, P is NaN.
func (t Trait) ask() (TraitAnswer, error) {
	a := TraitAnswer{Trait: t.Name, Compared: 1, Adjusted: math.NaN()}
	kinds := map[string][]Life{}
	healthy := 0
	for _, c := range t.Cases {
		c.Life.Group = without
		if c.With {
			c.Life.Group = with
		}
		if !c.Life.Failed() {
			healthy += c.Life.Count
		}
		kinds[c.Kind] = append(kinds[c.Kind], c.Life)
	}
	var strata []Lives
	for _, rows := range kinds {
		lives, err := NewLives(rows)
		if err != nil {
			return a, fmt.Errorf("findings: trait %s: %w", t.Name, err)
		}
		strata = append(strata, lives)
	}
	var err error
	a.Ratio, err = Compare(strata, with)
	if why := missing(a.Ratio, healthy, err); why != "" {
		a.Ratio.P, a.Ratio.Least, a.Ratio.Attainable = math.NaN(), math.NaN(), math.NaN()
		a.Ratio.Estimate, a.Ratio.Lower, a.Ratio.Upper = math.NaN(), math.NaN(), math.NaN()
		a.Refused = append(a.Refused, Refusal{t.Name, "nothing to compare: " + why})
		return a, nil
	}
	a.Adjusted = a.Ratio.P
	return a, err
}

// missing says why there is nothing to compare, or nothing.
func missing(h HazardRatio, healthy int, err error) string {
	switch {
	case errors.Is(err, ErrNoFailures):
		return "no failed charge is on record. Missing: failures."
	case healthy == 0:
		return "no healthy charge is on record. Missing: healthy charges of the same kind, with and without it."
	case h.With.N == 0:
		return "no charge on record has it. Missing: charges with it."
	case h.Without.N == 0:
		return "every charge on record has it. Missing: charges without it."
	case errors.Is(err, ErrNoContrast):
		return "at no age of a failure were charges of one kind with it and without it under watch. Missing: charges of both sides at the same ages."
	}
	return ""
}

// refuseFew refuses where the least p that could have come out would not have
// been significant beside as many others.
func (a *TraitAnswer) refuseFew(told int) {
	least := a.Ratio.Attainable * float64(max(1, told))
	if !(least >= significant) {
		return
	}
	beside := ""
	if told > 1 {
		beside = fmt.Sprintf(", corrected for the %d traits compared", told)
	}
	a.Refused = append(a.Refused, Refusal{a.Trait, fmt.Sprintf("no result could have been significant: with %s at these ages the smallest p that can be had is %.2f%s. "+
		"Missing: more failures.", count(a.Ratio.With.Failures+a.Ratio.Without.Failures, "failure"), min(1, least), beside)})
}

// sentence says what was seen on both sides, and what chance makes of it at the p
// given.
func (h HazardRatio) sentence(p float64) string {
	seen := fmt.Sprintf("%d of %s with it failed and %d of %d without it. If both failed alike at the same age, %s and %s would have.",
		h.With.Failures, count(h.With.N, "charge"), h.Without.Failures, h.Without.N, tenth(h.With.Expected), tenth(h.Without.Expected))
	often := fmt.Sprintf("fail %s times as often as others of their age (95 %% limits %s to %s)", short(h.Estimate), short(h.Lower), short(h.Upper))
	switch {
	case math.IsInf(h.Upper, 1):
		often = fmt.Sprintf("fail at least %s times as often as others of their age (95 %% limit)", short(h.Lower))
	case h.Lower == 0:
		often = fmt.Sprintf("fail at most %s times as often as others of their age (95 %% limit)", short(h.Upper))
	}
	switch {
	case p < significant:
		return fmt.Sprintf("%s More than chance explains: charges with it %s, %s.", seen, often, pValue(p))
	case h.LooksDecide():
		return fmt.Sprintf("%s Whether that is chance cannot be told, because the sides were not watched at the same ages: charges with it %s. %s", seen, often, h.looks())
	}
	return fmt.Sprintf("%s Chance can explain that: charges with it %s, %s.", seen, often, pValue(p))
}

// LooksDecide reports whether it depends on where between the looks the failures
// fell, which nobody knows, if a difference is shown.
func (h HazardRatio) LooksDecide() bool { return h.P >= significant && h.Least < significant }

// looks says what such a difference hangs on.
func (h HazardRatio) looks() string {
	return fmt.Sprintf("It hangs on where between the looks the failures fell (%s to %.3f); looks at the same ages on both sides would tell.", pValue(h.Least), h.P)
}

// tenth writes an expected number.
func tenth(v float64) string { return fmt.Sprintf("%.1f", v) }

// Watch is a pattern that was seen in some cases and is to be tested on what
// happens later.
type Watch struct {
	Trait string
	// Registered is the day on which the pattern was written down, for the words.
	Registered string
	// ReadAt is the number of later failures at which the test is read, once. 0
	// reads it each time, and the answer says that this finds patterns too often.
	ReadAt int
}

// From is the life as watched from an age on, by somebody who knew at that age
// of no failure: what was seen before does not count. It is false where nothing
// was seen later.
func (l Life) From(age float64) (Life, bool) {
	if l.Failed() && l.Upper <= age || !l.Failed() && l.Lower <= age {
		return l, false
	}
	l.Entry, l.Lower = max(l.Entry, age), max(l.Lower, age)
	return l, true
}

// Test asks cases as watched from the day of registration on, see [Life.From].
func (w Watch) Test(cases []Case) (TraitAnswer, error) {
	a, err := Trait{Name: w.Trait, Cases: cases}.ask()
	if err != nil {
		return a, err
	}
	a.Firmer = "healthy charges with and without it, measured after " + w.Registered
	if failures := a.Ratio.With.Failures + a.Ratio.Without.Failures; failures < w.ReadAt {
		a.Ratio = HazardRatio{With: a.Ratio.With, Without: a.Ratio.Without, Estimate: math.NaN(), Lower: math.NaN(), Upper: math.NaN(), P: math.NaN(), Least: math.NaN(), Attainable: math.NaN()}
		a.Adjusted = math.NaN()
		a.Refused = []Refusal{{w.Trait, fmt.Sprintf("the watch is read at %s after %s, and %s. Missing: %s more.",
			count(w.ReadAt, "failure"), w.Registered, have(failures), count(w.ReadAt-failures, "failure"))}}
		return a, nil
	}
	if a.refuseFew(1); len(a.Refused) > 0 {
		return a, nil
	}
	a.Sentence = fmt.Sprintf("Since %s, %s: %s", w.Registered, w.Trait, a.Ratio.sentence(a.Ratio.P))
	if w.ReadAt == 0 {
		a.Sentence += " A watch that is read again and again finds patterns too often; set the number of failures at which it is read."
	}
	return a, nil
}

// have counts failures that have come.
func have(n int) string {
	if n == 1 {
		return "1 has come"
	}
	return fmt.Sprintf("%d have come", n)
}

// GroupAnswer is how one group compares with all the others.
type GroupAnswer struct {
	Group    string
	Ratio    HazardRatio
	Adjusted float64 // P corrected for the groups compared
}

// CompareGroups sets each group against all the others; of two groups the first
// against the second. It returns ErrNoFailures, or ErrNoContrast if there is no
// group that can be compared.
func CompareGroups(strata []Lives) ([]GroupAnswer, error) {
	var names []string
	for _, l := range strata {
		names = append(names, l.groups...)
	}
	slices.Sort(names)
	if names = slices.Compact(names); len(names) == 2 {
		names = names[:1]
	}
	var out []GroupAnswer
	var p []float64
	for _, name := range names {
		h, err := Compare(strata, name)
		switch {
		case errors.Is(err, ErrNoContrast):
			continue
		case err != nil:
			return nil, err
		}
		out, p = append(out, GroupAnswer{Group: name, Ratio: h}), append(p, h.P)
	}
	if len(out) == 0 {
		return nil, ErrNoContrast
	}
	for i, adjusted := range Holm(p) {
		out[i].Adjusted = adjusted
	}
	return out, nil
}
