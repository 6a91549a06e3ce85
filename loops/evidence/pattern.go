// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// Counts are loops by failure and trait.
type Counts struct {
	FailedWith    int `json:"failed_with"`
	FailedWithout int `json:"failed_without"`
	GoodWith      int `json:"good_with"`
	GoodWithout   int `json:"good_without"`
}

// PatternLine is the answer about one trait.
type PatternLine struct {
	Trait string `json:"trait"` // key=value
	Words string `json:"words"`
	// Alike are other traits that part the charges alike: what is said of one is
	// said of all.
	Alike []string `json:"alike,omitempty"`
	Counts
	// FailedLoops is in how many loops the charges with the trait failed: those
	// of one loop tell less than as many of different ones.
	FailedLoops int `json:"failed_loops_with"`
	// Expected is how many of the failed would have the trait if both sides
	// failed alike at the same age.
	Expected findings.Number `json:"expected_with"`
	// Ratio is how many times as often charges with the trait fail at the same
	// age, with exact 95 % limits; null where there is none.
	Ratio findings.Number `json:"ratio"`
	Lower findings.Number `json:"lower"`
	Upper findings.Number `json:"upper"`
	P     findings.Number `json:"p"`
	// PAdjusted is P corrected for the traits compared (Holm).
	PAdjusted  findings.Number `json:"p_adjusted"`
	Attainable findings.Number `json:"p_attainable"`
	Compared   int             `json:"compared"`
	// Exploratory is set where the cases counted are those that suggested it.
	Exploratory bool               `json:"exploratory"`
	Sentence    string             `json:"sentence"`
	Firmer      string             `json:"firmer,omitempty"`
	Refused     []findings.Refusal `json:"refused"`

	trait Trait
	alike []Trait
}

// PatternAnswer answers "pattern or chance?" for one cause.
type PatternAnswer struct {
	Cause loops.Cause `json:"cause"`
	// Failed and Good are the charges counted: ended by the cause, and good when
	// last known. Apart are those that tell no age, and why.
	Failed int           `json:"failed"`
	Good   int           `json:"good"`
	Apart  []ApartLine   `json:"left_out"`
	Lines  []PatternLine `json:"traits"` // the least p first
	RestOn string        `json:"rests_on"`
}

// ApartLine counts charges that an answer does not use.
type ApartLine struct {
	Why   string `json:"why"`
	Count int    `json:"count"`
}

// ParseCause reads a cause that lies in the loop: others tell nothing about it.
func ParseCause(text string) (loops.Cause, error) {
	var names []string
	for _, c := range loops.Causes() {
		if !c.InLoop() {
			continue
		}
		if text == string(c) {
			return c, nil
		}
		names = append(names, string(c))
	}
	return "", wrong("cause", text, "a cause that lies in the loop: "+strings.Join(names, ", "))
}

// anyCause asks for charges that any cause in the loop ended.
const anyCause loops.Cause = ""

// lifeFor is the life as it tells about a cause, or says why it tells nothing.
// What another cause ended was good for this one when last known good.
func (c Case) lifeFor(cause loops.Cause) (life findings.Life, apart string) {
	if c.LeftOut != "" {
		return c.Life, c.LeftOut
	}
	life = c.Life
	if c.Failed && cause != anyCause && c.Cause != cause {
		if life.Upper = math.Inf(1); life.Lower <= life.Entry {
			return life, "ended by another cause, and not known good for any time before that"
		}
	}
	return life, ""
}

// stratum is what is never pooled: factory and workshop charges, sealed and open
// loops, and fluids. What is asked about itself parts nothing.
func (c Case) stratum(t Trait) string {
	if t.Key == "fluid" {
		return string(c.Origin) + ", " + Build(c.Sealed)
	}
	return string(c.Origin) + ", " + Build(c.Sealed) + ", " + c.Fluid
}

// testCases turns cases into those that findings compares for a trait.
func testCases(cases []Case, cause loops.Cause, t Trait) []findings.Case {
	var out []findings.Case
	for _, c := range cases {
		life, apart := c.lifeFor(cause)
		with, known := c.has(t)
		if apart == "" && known {
			out = append(out, findings.Case{Life: life, With: with, Kind: c.stratum(t)})
		}
	}
	return out
}

// Pattern answers "pattern or chance?": do the charges with a trait fail by the
// cause more often than others of their age? It answers for the traits given, or
// for every trait that tells charges apart. Answers are exploratory, and the p
// of one trait is corrected for all that could have been asked about.
func Pattern(cases []Case, cause loops.Cause, traits ...Trait) (PatternAnswer, error) {
	answer := PatternAnswer{Cause: cause, Apart: []ApartLine{}, Lines: []PatternLine{}}
	for _, c := range cases {
		switch life, apart := c.lifeFor(cause); {
		case apart != "":
			answer.Apart = countApart(answer.Apart, apart)
		case life.Failed():
			answer.Failed++
		default:
			answer.Good++
		}
	}
	answer.RestOn = fmt.Sprintf("%s %s and %s good when last known, each against others of its age; origins, sealed and open loops, and fluids are never pooled",
		loops.CountOrNo(answer.Failed, "charge"), endedBy(cause), loops.CountOrNo(answer.Good, "charge"))
	lines, err := compareAll(cases, cause, traits)
	if err != nil {
		return answer, err
	}
	for _, l := range lines {
		if len(traits) == 0 || slices.ContainsFunc(traits, l.trait.Same) {
			answer.Lines = append(answer.Lines, l)
		}
	}
	slices.SortStableFunc(answer.Lines, func(a, b PatternLine) int { return cmp.Compare(rank(a), rank(b)) })
	return answer, nil
}

func endedBy(cause loops.Cause) string {
	if cause == anyCause {
		return "that failed"
	}
	return "ended by " + string(cause)
}

// compareAll compares every trait that tells charges apart, and those asked
// about, with one correction for all.
func compareAll(cases []Case, cause loops.Cause, asked []Trait) ([]PatternLine, error) {
	var traits []findings.Trait
	sets := tellingTraits(cases, cause, asked)
	for _, s := range sets {
		traits = append(traits, findings.Trait{Name: loops.Capital(s.words()), Cases: testCases(cases, cause, s.trait)})
	}
	found, err := findings.Explore(traits)
	if err != nil {
		return nil, err
	}
	var lines []PatternLine
	for i, f := range found {
		l := patternLine(sets[i].trait, f)
		l.fromLoops(failedIn(cases, cause, sets[i].trait))
		l.alike = sets[i].alike
		for _, t := range l.alike {
			l.Alike = append(l.Alike, t.Words())
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// failedIn are the loops in which charges with the trait failed by the cause.
func failedIn(cases []Case, cause loops.Cause, t Trait) map[loops.Tag]bool {
	in := map[loops.Tag]bool{}
	for _, c := range cases {
		life, apart := c.lifeFor(cause)
		if has, _ := c.has(t); has && apart == "" && life.Failed() {
			in[c.Tag] = true
		}
	}
	return in
}

// fromLoops says in how many loops the charges with the trait failed, where some
// are of one.
func (l *PatternLine) fromLoops(in map[loops.Tag]bool) {
	l.FailedLoops = len(in)
	if l.Sentence != "" && len(in) < l.FailedWith {
		l.Sentence += fmt.Sprintf(" The %d that failed with it were in %s; each counts as if it stood by itself.", l.FailedWith, loops.CountOrNo(len(in), "loop"))
	}
}

// Told parts the lines that answer from those that do not, and names these under
// each reason, once.
func Told(lines []PatternLine) (told []PatternLine, refused []findings.Refusal) {
	for _, l := range lines {
		if l.Sentence != "" {
			told = append(told, l)
			continue
		}
		for _, r := range l.Refused {
			at := slices.IndexFunc(refused, func(other findings.Refusal) bool { return other.Why == r.Why })
			if at < 0 {
				refused = append(refused, r)
				continue
			}
			refused[at].What += "; " + r.What
		}
	}
	return told, refused
}

// rank orders answers: the least p first, those without any last.
func rank(l PatternLine) float64 {
	if !l.P.Known() {
		return 2
	}
	return float64(l.P)
}

func patternLine(t Trait, f findings.TraitAnswer) PatternLine {
	h := f.Ratio
	return PatternLine{
		Trait: t.String(), Words: t.Words(), trait: t, Expected: findings.Number(h.With.Expected), Ratio: findings.Number(h.Estimate), Lower: findings.Number(h.Lower),
		Upper: findings.Number(h.Upper), P: findings.Number(h.P), PAdjusted: findings.Number(f.Adjusted),
		Attainable: findings.Number(h.Attainable), Compared: f.Compared, Exploratory: f.Exploratory,
		Counts:   Counts{h.With.Failures, h.Without.Failures, h.With.N - h.With.Failures, h.Without.N - h.Without.Failures},
		Sentence: f.Sentence, Firmer: f.Firmer, Refused: append([]findings.Refusal{}, f.Refused...),
	}
}

// traitSet is a trait with others that part the charges alike.
type traitSet struct {
	trait Trait
	alike []Trait
}

// words names all of them as one.
func (s traitSet) words() string {
	var names strings.Builder
	names.WriteString(s.trait.Words())
	for i, t := range s.alike {
		if i == 0 {
			names.WriteString(", the same charges as")
		} else {
			names.WriteString(" and")
		}
		names.WriteString(" " + t.Words())
	}
	return names.String()
}

// tellingTraits lists the traits asked about, and those that some charges have
// and others, known to the record, have not. Those that part the charges alike
// are one: comparing one thing twice would only blunt the answer. Of two that are
// each other's opposite it is the one with which more have failed.
func tellingTraits(cases []Case, cause loops.Cause, asked []Trait) []traitSet {
	var sets []traitSet
	seen := map[string]int{}
	add := func(t Trait, p partition) {
		for _, key := range []string{p.signs, turned(p.signs)} {
			at, known := seen[key]
			switch {
			case !known || !p.tells():
				continue
			case !sets[at].trait.Same(t) && key == p.signs:
				sets[at].alike = append(sets[at].alike, t)
			}
			return
		}
		seen[p.signs] = len(sets)
		sets = append(sets, traitSet{trait: t})
	}
	for _, t := range asked {
		add(t, partitionBy(cases, cause, t))
	}
	var others []Trait
	for _, k := range traitKeys() {
		for _, value := range valuesOf(cases, k.key) {
			t := Trait{k.key, value}
			switch p := partitionBy(cases, cause, t); {
			case !p.tells():
			case p.worse():
				add(t, p)
			default:
				others = append(others, t)
			}
		}
	}
	for _, t := range others {
		add(t, partitionBy(cases, cause, t))
	}
	return sets
}

// turned changes the signs of a partition.
func turned(parts string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case '+':
			return '-'
		case '-':
			return '+'
		}
		return r
	}, parts)
}

// partition is who has a trait as signs, in the order of the cases, and how many
// have it and have not, of all and of those that failed.
type partition struct {
	signs                     string
	with, without             int
	failedWith, failedWithout int
}

// tells reports whether some have the trait and others have not.
func (p partition) tells() bool { return p.with > 0 && p.without > 0 }

// worse reports whether a larger share of those with the trait has failed,
// whatever their ages.
func (p partition) worse() bool { return p.failedWith*p.without > p.failedWithout*p.with }

func partitionBy(cases []Case, cause loops.Cause, t Trait) partition {
	var p partition
	var b strings.Builder
	for _, c := range cases {
		life, apart := c.lifeFor(cause)
		has, known := c.has(t)
		failed := 0
		if life.Failed() {
			failed = 1
		}
		switch {
		case apart != "" || !known:
			b.WriteByte(' ')
		case has:
			b.WriteByte('+')
			p.with++
			p.failedWith += failed
		default:
			b.WriteByte('-')
			p.without++
			p.failedWithout += failed
		}
	}
	p.signs = b.String()
	return p
}

// valuesOf lists the values of a key, each as it was first written, sorted.
func valuesOf(cases []Case, key string) []string {
	var values []string
	for _, c := range cases {
		for _, t := range c.Traits {
			if t.Key == key && !slices.ContainsFunc(values, func(v string) bool { return strings.EqualFold(v, t.Value) }) {
				values = append(values, t.Value)
			}
		}
	}
	slices.Sort(values)
	return values
}

func countApart(lines []ApartLine, why string) []ApartLine {
	for i := range lines {
		if lines[i].Why == why {
			lines[i].Count++
			return lines
		}
	}
	return append(lines, ApartLine{why, 1})
}

// TraitsOf lists the values that the cases have of some keys, sorted.
func TraitsOf(cases []Case, keys ...string) []Trait {
	var traits []Trait
	for _, key := range keys {
		for _, value := range valuesOf(cases, key) {
			traits = append(traits, Trait{key, value})
		}
	}
	return traits
}

// wrong names a field, its value and what would be right.
func wrong(field, value, reason string) error {
	return &loops.InvalidError{Field: field, Value: value, Reason: reason}
}
