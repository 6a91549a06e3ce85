// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// evidenceKeeper is where evidence and watches are kept.
type evidenceKeeper interface {
	Evidence() (loops.Evidence, error)
	Evidences() iter.Seq2[loops.Evidence, error]
	PutEvidence(loops.Evidence, string) error
	Watches() iter.Seq2[loops.PatternWatch, error]
	AddWatch(loops.PatternWatch, time.Time) (loops.PatternWatch, error)
}

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
	Counts
	// OddsRatio with its exact 95 % limits; null where there is none.
	OddsRatio findings.Number `json:"odds_ratio"`
	Lower     findings.Number `json:"lower"`
	Upper     findings.Number `json:"upper"`
	P         findings.Number `json:"p"`
	// PAdjusted is P corrected for the traits compared (Holm).
	PAdjusted  findings.Number `json:"p_adjusted"`
	Attainable findings.Number `json:"p_attainable"`
	Compared   int             `json:"compared"`
	// Exploratory is set where the cases counted are those that suggested it.
	Exploratory bool               `json:"exploratory"`
	Sentence    string             `json:"sentence"`
	Firmer      string             `json:"firmer,omitempty"`
	Refused     []findings.Refusal `json:"refused"`
}

// PatternAnswer answers "pattern or chance?" for one cause.
type PatternAnswer struct {
	Cause loops.Cause `json:"cause"`
	// Failed and Good are the charges counted: ended by the cause, and known
	// good. Apart are those of neither column, and why.
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

// column tells in which column of the table of a cause a case stands: failed
// by it or known good. apart says why it stands in neither.
func (c Case) column(cause loops.Cause) (failed bool, apart string) {
	switch {
	case c.Failed && c.Cause == cause:
		return true, ""
	case c.Failed:
		return false, "ended by another cause"
	case c.Ended.IsZero() || c.Life.Lower == 0:
		return false, "never measured good since its fill"
	case c.Life.Lower < settled:
		return false, fmt.Sprintf("measured good only within %d months of its fill, when few have failed yet", settled)
	}
	return false, ""
}

// settled is the age in months from which a charge that is measured good
// counts as a healthy one beside those that failed (own rule, no source): the
// proof on the day after the fill shows that the work was done well, not that
// the charge lasts.
const settled = 3

// stratum is what is never pooled: factory and workshop charges, and fluids.
// Where the fluid itself is asked about only the origin parts them.
func (c Case) stratum(t Trait) string {
	if t.Key == "fluid" {
		return string(c.Origin)
	}
	return string(c.Origin) + ", " + c.Fluid
}

// testCases turns cases into those that findings tabulates for a trait.
func testCases(cases []Case, cause loops.Cause, t Trait) []findings.Case {
	var out []findings.Case
	for _, c := range cases {
		failed, apart := c.column(cause)
		with, known := c.has(t)
		if apart != "" || !known {
			continue
		}
		out = append(out, findings.Case{Ended: c.Ended.String(), Failed: failed, With: with, Kind: c.stratum(t)})
	}
	return out
}

// Pattern answers "pattern or chance?": it sets the charges that the cause
// ended against those known good, by the traits given, or by every trait that
// tells any of them apart. Answers are exploratory.
func (w *Workshop) Pattern(cause loops.Cause, traits ...Trait) (PatternAnswer, error) {
	cases, err := w.Cases()
	if err != nil {
		return PatternAnswer{}, err
	}
	return patternOf(cases, cause, traits)
}

func patternOf(cases []Case, cause loops.Cause, traits []Trait) (PatternAnswer, error) {
	answer := PatternAnswer{Cause: cause, Apart: []ApartLine{}, Lines: []PatternLine{}}
	for _, c := range cases {
		failed, apart := c.column(cause)
		switch {
		case apart != "":
			answer.Apart = countApart(answer.Apart, apart)
		case failed:
			answer.Failed++
		default:
			answer.Good++
		}
	}
	answer.RestOn = fmt.Sprintf("%s ended by %s and %s measured good at %d months or more; fluids and origins are never pooled", counted(answer.Failed, "charge"), cause, counted(answer.Good, "charge"), settled)
	if len(traits) == 0 {
		traits = tellingTraits(cases, cause)
	}
	var asked []findings.Trait
	for _, t := range traits {
		asked = append(asked, findings.Trait{Name: capital(t.Words()), Strata: findings.Tabulate(testCases(cases, cause, t))})
	}
	found, err := findings.Explore(asked)
	if err != nil {
		return answer, err
	}
	for i, f := range found {
		answer.Lines = append(answer.Lines, patternLine(traits[i], f))
	}
	slices.SortStableFunc(answer.Lines, func(a, b PatternLine) int {
		return cmp.Compare(rank(a), rank(b))
	})
	return answer, nil
}

// rank orders answers: the least p first, those without any last.
func rank(l PatternLine) float64 {
	if !l.P.Known() {
		return 2
	}
	return float64(l.P)
}

func patternLine(t Trait, f findings.TraitAnswer) PatternLine {
	line := PatternLine{
		Trait: t.String(), Words: t.Words(), OddsRatio: findings.Number(f.OddsRatio.Estimate), Lower: findings.Number(f.OddsRatio.Lower),
		Upper: findings.Number(f.OddsRatio.Upper), P: findings.Number(f.OddsRatio.P), PAdjusted: findings.Number(f.Adjusted),
		Attainable: findings.Number(f.OddsRatio.Attainable), Compared: f.Compared, Exploratory: f.Exploratory,
		Counts:   Counts{f.Counted.FailedWith, f.Counted.FailedWithout, f.Counted.GoodWith, f.Counted.GoodWithout},
		Sentence: f.Sentence, Firmer: f.Firmer, Refused: append([]findings.Refusal{}, f.Refused...),
	}
	if !line.P.Known() {
		none := line.P
		line.OddsRatio, line.Lower, line.Upper, line.PAdjusted = none, none, none, none
	}
	return line
}

// tellingTraits lists the traits that some counted charges have and others,
// known to the record, have not. Of traits that part the charges alike only
// the first is taken: comparing one thing twice would only blunt the answer.
func tellingTraits(cases []Case, cause loops.Cause) []Trait {
	var traits []Trait
	seen := map[string]bool{}
	for _, k := range traitKeys() {
		for _, value := range valuesOf(cases, k.key) {
			t := Trait{k.key, value}
			parts, with, without := partition(cases, cause, t)
			opposite := strings.Map(func(r rune) rune {
				switch r {
				case '+':
					return '-'
				case '-':
					return '+'
				}
				return r
			}, parts)
			if with == 0 || without == 0 || seen[parts] || seen[opposite] {
				continue
			}
			seen[parts] = true
			traits = append(traits, t)
		}
	}
	return traits
}

// partition writes who has a trait as signs, in the order of the cases.
func partition(cases []Case, cause loops.Cause, t Trait) (signs string, with, without int) {
	var b strings.Builder
	for _, c := range cases {
		_, apart := c.column(cause)
		has, known := c.has(t)
		switch {
		case apart != "" || !known:
			b.WriteByte(' ')
		case has:
			b.WriteByte('+')
			with++
		default:
			b.WriteByte('-')
			without++
		}
	}
	return b.String(), with, without
}

func valuesOf(cases []Case, key string) []string {
	var values []string
	for _, c := range cases {
		for _, t := range c.Traits {
			if t.Key == key && !slices.Contains(values, t.Value) {
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

func counted(n int, what string) string {
	switch n {
	case 0:
		return "no " + what
	case 1:
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// capital writes the first letter large.
func capital(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// TraitsOnRecord lists the values that charges on record have of a key, sorted.
func (w *Workshop) TraitsOnRecord(keys ...string) ([]Trait, error) {
	cases, err := w.Cases()
	if err != nil {
		return nil, err
	}
	var traits []Trait
	for _, key := range keys {
		for _, value := range valuesOf(cases, key) {
			traits = append(traits, Trait{key, value})
		}
	}
	return traits, nil
}
