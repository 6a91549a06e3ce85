// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"math"
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// WatchLine is a watch and what the lives that ended since say about it.
type WatchLine struct {
	loops.PatternWatch
	Answer PatternLine `json:"answer"`
	// PassedOver are the charges that do not test it: nothing was seen of them
	// since, they tell no age, or nothing is on record of what it is about.
	// Failures are those after its day.
	PassedOver int `json:"passed_over"`
	Failures   int `json:"failures"`
}

// TestWatch tests a watch on what has happened since its day, or shows the
// reading that stands. One of a key that is compared no more stays as it is.
func TestWatch(cases []Case, watch loops.PatternWatch) (WatchLine, error) {
	key, value, _ := strings.Cut(watch.Trait, "=")
	trait := Trait{key, value}
	line := WatchLine{PatternWatch: watch}
	later := casesSince(cases, watch, trait)
	line.PassedOver = len(cases) - len(later)
	if watch.Reading != nil {
		line.Answer, line.Failures = standing(trait, watch.Reading), watch.Reading.FailedWith+watch.Reading.FailedWithout
		return line, nil
	}
	if !slices.Contains(TraitKeys(), key) {
		line.Answer = standing(trait, &loops.WatchReading{})
		line.Answer.Firmer, line.Answer.Refused = "", []findings.Refusal{{What: trait.String(), Why: "charges are no longer compared by this."}}
		return line, nil
	}
	test := findings.Watch{Trait: loops.Capital(trait.Words()), Registered: watch.Registered.Long(), ReadAt: watch.ReadAt}
	var own []findings.Case
	failed := map[loops.Tag]bool{}
	for _, c := range later {
		if c.with && c.Life.Failed() {
			failed[c.Tag] = true
		}
		own = append(own, findings.Case{Life: c.Life, With: c.with, Kind: c.stratum(trait)})
	}
	answer, err := test.Test(own)
	if err != nil {
		return WatchLine{}, err
	}
	line.Answer = patternLine(trait, answer)
	line.Answer.fromLoops(failed)
	line.Failures = line.Answer.FailedWith + line.Answer.FailedWithout
	return line, nil
}

// laterCase is a case with its life as watched from the day of a watch on.
type laterCase struct {
	Case
	with bool
}

// casesSince are the charges of which something was seen after the day of a
// watch, each from the age it had then.
func casesSince(cases []Case, watch loops.PatternWatch, trait Trait) []laterCase {
	var out []laterCase
	for _, c := range cases {
		life, apart := c.lifeFor(watch.Cause)
		with, known := c.has(trait)
		if apart != "" || !known || !c.Ended.After(watch.Registered) {
			continue
		}
		if life, ok := life.From(max(0, months(c.Filled, watch.Registered))); ok {
			c.Life = life
			out = append(out, laterCase{c, with})
		}
	}
	return out
}

// standing shows a reading as an answer.
func standing(t Trait, r *loops.WatchReading) PatternLine {
	number := func(v *float64) findings.Number {
		if v == nil {
			return findings.Number(math.NaN())
		}
		return findings.Number(*v)
	}
	in := map[loops.Tag]bool{}
	for _, c := range r.Cases {
		if c.With && c.Failed != nil {
			in[c.Tag] = true
		}
	}
	return PatternLine{
		FailedLoops: len(in), Trait: t.String(), Words: t.Words(), Counts: Counts{r.FailedWith, r.FailedWithout, r.GoodWith, r.GoodWithout}, Expected: findings.Number(r.Expected),
		Ratio: number(r.Ratio), Lower: number(r.Lower), Upper: number(r.Upper), P: number(r.P), PAdjusted: number(r.P), Attainable: number(nil),
		Compared: 1, Sentence: r.Sentence, Refused: []findings.Refusal{}, Firmer: "another watch; the reading of " + r.Day.Long() + " stands",
	}
}

// Due reports whether the watch is read, once: the failures have come, and they
// answer. Where no result could be had from them, it waits for more.
func (l WatchLine) Due() bool {
	return l.Reading == nil && l.ReadAt > 0 && l.Failures >= l.ReadAt && l.Answer.P.Known() && len(l.Answer.Refused) == 0
}

// ReadingOn is what is kept of the answer on the day on which it is read, with
// the cases that it was made from.
func (l WatchLine) ReadingOn(day loops.Day, cases []Case) loops.WatchReading {
	number := func(n findings.Number) *float64 {
		if !n.Known() {
			return nil
		}
		return new(float64(n))
	}
	a := l.Answer
	r := loops.WatchReading{
		Day: day, FailedWith: a.FailedWith, FailedWithout: a.FailedWithout, GoodWith: a.GoodWith, GoodWithout: a.GoodWithout,
		Expected: float64(a.Expected), Ratio: number(a.Ratio), Lower: number(a.Lower), Upper: number(a.Upper), P: number(a.P), Sentence: a.Sentence,
	}
	trait, _ := ParseTrait(l.Trait) // it was due
	for _, c := range casesSince(cases, l.PatternWatch, trait) {
		one := loops.WatchCase{Tag: c.Tag, With: c.with, Entered: c.Life.Entry, Good: c.Life.Lower}
		if c.Life.Failed() {
			one.Failed = new(c.Life.Upper)
		}
		r.Cases = append(r.Cases, one)
	}
	return r
}
