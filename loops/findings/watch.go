// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package findings

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// dayLayout is how a civil day is written; days written so sort as text.
const dayLayout = "2006-01-02"

// Watch is a pattern that was seen in some cases and is to be tested on
// others: those whose lives end later.
type Watch struct {
	Trait string
	// Registered is the civil day on which the pattern was written down, as
	// 2006-01-02. Lives that ended up to and with that day do not count.
	Registered string
	// ReadAt is the number of later failures at which the test is read, once;
	// whatever comes after them does not count. 0 reads it each time, and the
	// answer says that this finds patterns too often.
	ReadAt int
}

// Case is one life that can test a watch.
type Case struct {
	Ended  string // civil day it failed or was last known good, as 2006-01-02
	Failed bool
	With   bool   // has the trait
	Kind   string // what must not be pooled, such as the fluid; may be empty
}

// WatchAnswer is what the later lives say.
type WatchAnswer struct {
	TraitAnswer
	PassedOver int // cases that ended too early to test the pattern
	Failures   int // later failures that count
}

// Test asks the lives that ended after the watch was registered. An
// *InvalidError names a day that is none.
func (w Watch) Test(cases []Case) (WatchAnswer, error) {
	if err := checkDay("registered", w.Registered); err != nil {
		return WatchAnswer{}, err
	}
	var later []Case
	for i, c := range cases {
		if err := checkDay("ended", c.Ended); err != nil {
			err.Line = i + 1
			return WatchAnswer{}, err
		}
		if c.Ended > w.Registered {
			later = append(later, c)
		}
	}
	passedOver := len(cases) - len(later)
	later, complete := w.upToRead(later)
	trait, err := askTrait(Trait{Name: w.Trait, Strata: Tabulate(later)})
	if err != nil {
		return WatchAnswer{}, err
	}
	a := WatchAnswer{TraitAnswer: trait, PassedOver: passedOver, Failures: trait.Counted.FailedWith + trait.Counted.FailedWithout}
	a.Firmer = "healthy loops with and without it, measured after " + w.Registered
	if !complete {
		a.OddsRatio = OddsRatio{P: math.NaN(), Attainable: math.NaN()}
		a.Adjusted = math.NaN()
		a.Refused = []Refusal{{w.Trait, fmt.Sprintf("the watch is read at %d failures after %s, and %d have come. Missing: %s more.",
			w.ReadAt, w.Registered, a.Failures, count(w.ReadAt-a.Failures, "failure"))}}
	}
	if len(a.Refused) == 0 {
		a.Sentence = fmt.Sprintf("Since %s, %s %s", w.Registered, tableSentence(w.Trait, a.Counted), oddsSentence(a.OddsRatio, a.OddsRatio.P))
		if w.ReadAt == 0 {
			a.Sentence += " A watch that is read again and again finds patterns too often; set the number of failures at which it is read."
		}
	}
	return a, nil
}

// upToRead keeps the cases up to the day of the failure at which the watch is
// read, and reports whether that day has come.
func (w Watch) upToRead(later []Case) ([]Case, bool) {
	if w.ReadAt <= 0 {
		return later, true
	}
	slices.SortStableFunc(later, func(a, b Case) int { return cmp.Compare(a.Ended, b.Ended) })
	failures := 0
	for i, c := range later {
		if c.Failed {
			failures++
		}
		if failures >= w.ReadAt && (i == len(later)-1 || later[i+1].Ended > c.Ended) {
			return later[:i+1], true
		}
	}
	return later, false
}

// Tabulate counts cases, one table for each kind, the kinds in the order in
// which they come.
func Tabulate(cases []Case) Strata {
	kinds := map[string]int{}
	var out Strata
	for _, c := range cases {
		at, ok := kinds[c.Kind]
		if !ok {
			at = len(out)
			kinds[c.Kind] = at
			out = append(out, Table{})
		}
		t := &out[at]
		switch {
		case c.Failed && c.With:
			t.FailedWith++
		case c.Failed:
			t.FailedWithout++
		case c.With:
			t.GoodWith++
		default:
			t.GoodWithout++
		}
	}
	return out
}

func checkDay(column, day string) *InvalidError {
	if _, err := time.Parse(dayLayout, day); err != nil {
		return &InvalidError{Column: column, Value: day, Reason: "a day such as 2026-11-24 is right"}
	}
	return nil
}
