// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// Summary is what a maker may be shown about loops with a trait. Neither it nor
// anything in it has a field for an owner, a machine's name, a tag, a note or
// who recorded something: what is not there cannot be given away.
type Summary struct {
	Trait   string `json:"trait"`
	Words   string `json:"words"`
	Charges int    `json:"charges"` // with the trait, of every origin
	Failed  int    `json:"failed"`
	Good    int    `json:"good"` // measured good after the fill, not failed
	// Causes counts failures by cause, the most first.
	Causes []CountLine `json:"causes"`
	// Seen counts the fixed words of the openings, the most first.
	Seen []CountLine `json:"seen"`
	// Lives answers for each origin and build apart.
	Lives []SummaryLives `json:"lives"`
	// Cases are the openings, in order of age.
	Cases []SummaryCase `json:"openings"`
	// Withheld counts photos whose owners gave no consent to show them.
	Withheld int `json:"photos_withheld"`
}

// CountLine counts one word.
type CountLine struct {
	Word  string `json:"word"`
	Count int    `json:"count"`
}

// SummaryLives is how long the charges of one origin lasted in loops of one build.
type SummaryLives struct {
	Origin loops.Origin    `json:"origin"`
	Sealed bool            `json:"sealed"`
	Of     string          `json:"of"`
	Report findings.Report `json:"report"`
	Plot   *findings.Plot  `json:"-"`
	Apart  []ApartLine     `json:"left_out"`
}

// SummaryCase is one opening: ages and words.
type SummaryCase struct {
	Origin loops.Origin `json:"origin"`
	Fluid  string       `json:"fluid"`
	// MonthsFrom and MonthsTo bound the age at the opening; MonthsTo is zero
	// where the fill has no earliest day.
	MonthsFrom float64              `json:"months_from"`
	MonthsTo   float64              `json:"months_to,omitempty"`
	Cause      loops.Cause          `json:"cause"`
	Look       string               `json:"look"`
	Metals     string               `json:"metals,omitempty"`
	Photos     []loops.OpeningPhoto `json:"photos,omitempty"`
}

// Age writes the months at the opening: "14.2", "10.1 to 16.0" or "not known".
func (c SummaryCase) Age() string {
	switch {
	case c.MonthsTo == 0 && c.Origin == loops.UnknownOrigin && c.MonthsFrom == 0:
		return "not known"
	case c.MonthsTo == 0:
		return fmt.Sprintf("%.1f or more", c.MonthsFrom)
	case math.Abs(c.MonthsTo-c.MonthsFrom) < 0.05:
		return fmt.Sprintf("%.1f", c.MonthsTo)
	}
	return fmt.Sprintf("%.1f to %.1f", c.MonthsFrom, c.MonthsTo)
}

// Summarise gathers what is known of loops with a trait for their maker, from
// all cases and openings. No charge with the trait is an error that matches
// loops.ErrNotFound.
func Summarise(cases []Case, openings []ShownOpening, trait Trait) (Summary, error) {
	s := Summary{Trait: trait.String(), Words: trait.Words(), Causes: []CountLine{}, Seen: []CountLine{}, Lives: []SummaryLives{}, Cases: []SummaryCase{}}
	cases = slices.DeleteFunc(slices.Clone(cases), func(c Case) bool { has, _ := c.has(trait); return !has })
	if len(cases) == 0 {
		return s, fmt.Errorf("charge with %s: %w", trait.Words(), loops.ErrNotFound)
	}
	s.count(cases)
	lives, err := howLongEach(cases, "", everyone)
	if err != nil {
		return s, err
	}
	for _, l := range lives {
		s.Lives = append(s.Lives, SummaryLives{Origin: l.Origin, Sealed: l.Sealed, Of: l.Of, Report: l.Report, Plot: l.Plot, Apart: l.Apart})
	}
	s.open(openings, trait)
	slices.SortStableFunc(s.Cases, func(a, b SummaryCase) int { return cmp.Compare(a.MonthsFrom, b.MonthsFrom) })
	return s, nil
}

func (s *Summary) count(cases []Case) {
	s.Charges = len(cases)
	for _, c := range cases {
		switch {
		case c.Failed:
			s.Failed++
			s.Causes = countWord(s.Causes, string(c.Cause))
		case c.Life.Lower > 0:
			s.Good++
		}
	}
	mostFirst(s.Causes)
}

// ShownOpening is an opening whose photos may be shown, or not.
type ShownOpening struct {
	OpeningFile
	Photos bool
}

// open adds the openings.
func (s *Summary) open(openings []ShownOpening, trait Trait) {
	for _, f := range openings {
		about := Case{Traits: f.Traits}
		if has, _ := about.has(trait); !has {
			continue
		}
		c := SummaryCase{
			Origin: f.Origin, Fluid: f.Charge.Fluid.Name(), MonthsFrom: f.MonthsFrom, MonthsTo: f.MonthsTo, Cause: f.Opening.Cause, Look: f.Look,
			Metals: about.value("metals"), Photos: f.Opening.Photos,
		}
		if !f.Photos {
			s.Withheld += len(c.Photos)
			c.Photos = nil
		}
		s.Cases = append(s.Cases, c)
		for _, word := range seenWords(f.Opening) {
			s.Seen = countWord(s.Seen, word)
		}
	}
	mostFirst(s.Seen)
}

// seenWords lists the fixed words of an opening.
func seenWords(o loops.Opening) []string {
	var seen []string
	add := func(before, word string) {
		if word != "" {
			seen = append(seen, before+word)
		}
	}
	add("colour ", string(o.Colour))
	add("liquid ", string(o.Clarity))
	add("smell ", string(o.Smell))
	for _, r := range o.Residues {
		add("", r.String())
	}
	if o.Severity != nil {
		add("step: ", o.Severity.String())
	}
	return seen
}

func countWord(lines []CountLine, word string) []CountLine {
	for i := range lines {
		if lines[i].Word == word {
			lines[i].Count++
			return lines
		}
	}
	return append(lines, CountLine{word, 1})
}

func mostFirst(lines []CountLine) {
	slices.SortStableFunc(lines, func(a, b CountLine) int { return b.Count - a.Count })
}
