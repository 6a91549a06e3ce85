// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"math"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// WatchLine is a watch and what the lives that ended since say about it.
type WatchLine struct {
	loops.PatternWatch
	Answer PatternLine `json:"answer"`
	// PassedOver are cases that ended too early to test it; Failures are those
	// after its day.
	PassedOver int `json:"passed_over"`
	Failures   int `json:"failures"`
}

// AddWatch writes down a pattern, to be tested on what happens to charges from
// tomorrow on.
func (w *Workshop) AddWatch(s Stamp, watch loops.PatternWatch) (WatchLine, error) {
	trait, err := ParseTrait(watch.Trait)
	if err != nil {
		return WatchLine{}, err
	}
	if _, err := ParseCause(string(watch.Cause)); err != nil {
		return WatchLine{}, err
	}
	watch.Reading = nil // nobody reads a watch but the cases
	watch.Trait, watch.By, watch.Registered = trait.String(), s.By, loops.DayOf(s.At, w.settings.Zone)
	if err := watch.Validate(); err != nil {
		return WatchLine{}, err
	}
	for known, err := range w.register.Watches() {
		if err != nil {
			return WatchLine{}, err
		}
		if known.Trait == watch.Trait && known.Cause == watch.Cause {
			return WatchLine{}, wrong("trait", watch.Trait, "one that is not under watch yet; this is, since "+known.Registered.String())
		}
	}
	if watch, err = w.register.AddWatch(watch, s.At); err != nil {
		return WatchLine{}, err
	}
	cases, err := w.Cases()
	if err != nil {
		return WatchLine{}, err
	}
	return testWatch(cases, watch)
}

// Watches lists the watches with what has come of them.
func (w *Workshop) Watches() ([]WatchLine, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	lines := []WatchLine{}
	for watch, err := range w.register.Watches() {
		if err != nil {
			return nil, err
		}
		line, err := testWatch(cases, watch)
		if err != nil {
			return nil, err
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// testWatch tests a watch on what has happened since its day, or shows the
// reading that stands.
func testWatch(cases []Case, watch loops.PatternWatch) (WatchLine, error) {
	trait, err := ParseTrait(watch.Trait)
	if err != nil {
		return WatchLine{}, err
	}
	line := WatchLine{PatternWatch: watch}
	later := casesSince(cases, watch, trait)
	line.PassedOver = len(cases) - len(later)
	if watch.Reading != nil {
		line.Answer, line.Failures = standing(trait, watch.Reading), watch.Reading.FailedWith+watch.Reading.FailedWithout
		return line, nil
	}
	test := findings.Watch{Trait: capital(trait.Words()), Registered: watch.Registered.String(), ReadAt: watch.ReadAt}
	var own []findings.Case
	for _, c := range later {
		own = append(own, findings.Case{Life: c.Life, With: c.with, Kind: c.stratum(trait)})
	}
	answer, err := test.Test(own)
	if err != nil {
		return WatchLine{}, err
	}
	line.Answer = patternLine(trait, answer)
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
	return PatternLine{
		Trait: t.String(), Words: t.Words(), Counts: Counts{r.FailedWith, r.FailedWithout, r.GoodWith, r.GoodWithout}, Expected: findings.Number(r.Expected),
		Ratio: number(r.Ratio), Lower: number(r.Lower), Upper: number(r.Upper), P: number(r.P), PAdjusted: number(r.P), Attainable: number(nil),
		Compared: 1, Sentence: r.Sentence, Refused: []findings.Refusal{}, Firmer: "another watch; the reading of " + r.Day.Long() + " stands",
	}
}

// readWatches keeps the reading of each watch whose failures have come, with the
// cases it was made from: nothing that is measured later changes it.
func (w *Workshop) readWatches(s Stamp, cases []Case) error {
	for watch, err := range w.register.Watches() {
		if err != nil {
			return err
		}
		if watch.Reading != nil || watch.ReadAt == 0 {
			continue
		}
		line, err := testWatch(cases, watch)
		if err != nil {
			return err
		}
		if line.Failures < watch.ReadAt {
			continue
		}
		if err := w.register.ReadWatch(watch.ID, w.readingOf(s, cases, line), s.By, s.At); err != nil {
			return err
		}
	}
	return nil
}

// readingOf is what is kept of an answer.
func (w *Workshop) readingOf(s Stamp, cases []Case, line WatchLine) loops.WatchReading {
	number := func(n findings.Number) *float64 {
		if !n.Known() {
			return nil
		}
		return new(float64(n))
	}
	a := line.Answer
	r := loops.WatchReading{
		Day: loops.DayOf(s.At, w.settings.Zone), FailedWith: a.FailedWith, FailedWithout: a.FailedWithout, GoodWith: a.GoodWith, GoodWithout: a.GoodWithout,
		Expected: float64(a.Expected), Ratio: number(a.Ratio), Lower: number(a.Lower), Upper: number(a.Upper), P: number(a.P), Sentence: a.Sentence,
	}
	for _, refused := range a.Refused {
		r.Sentence = capital(refused.Why)
	}
	trait, _ := ParseTrait(line.Trait) // read before
	for _, c := range casesSince(cases, line.PatternWatch, trait) {
		one := loops.WatchCase{Tag: c.Tag, With: c.with, Entered: c.Life.Entry, Good: c.Life.Lower}
		if c.Life.Failed() {
			one.Failed = new(c.Life.Upper)
		}
		r.Cases = append(r.Cases, one)
	}
	return r
}
