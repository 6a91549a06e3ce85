// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"slices"
	"strings"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// OriginLives answers "how long?" for the charges of one origin in loops of one
// build; neither are ever pooled.
type OriginLives struct {
	Origin loops.Origin `json:"origin"`
	Sealed bool         `json:"sealed"`
	// Of says it in words: "workshop charges in sealed loops".
	Of string `json:"of"`
	// By is what the groups are parted by; empty where there are none.
	By     string             `json:"by,omitempty"`
	Rows   []findings.Life    `json:"-"`
	Report findings.Report    `json:"report"`
	Plot   *findings.Plot     `json:"-"` // nil where no curve can be drawn
	Apart  []ApartLine        `json:"left_out"`
	Lacks  []findings.Refusal `json:"refused"`
	// Compared sets the groups against the others at the same ages, over all
	// origins, as [Pattern] does; the same in each answer.
	Compared []PatternLine `json:"compared,omitempty"`
}

// HowLong answers "how long do charges last?" for every origin and build on
// record, in groups by a key of traits or by having one trait or not; by is empty
// for all together.
func HowLong(cases []Case, by string) ([]OriginLives, error) {
	group, err := grouping(cases, by)
	if err != nil {
		return nil, err
	}
	var compared []PatternLine
	if by != "" {
		pattern, err := Pattern(cases, anyCause, traitsOf(cases, by)...)
		if err != nil {
			return nil, err
		}
		compared = pattern.Lines
	}
	answers, err := howLongEach(cases, by, group)
	for i := range answers {
		answers[i].Compared = compared
	}
	return answers, err
}

// howLongEach answers for each stratum that has charges.
func howLongEach(cases []Case, by string, group func(Case) (string, bool)) ([]OriginLives, error) {
	answers := []OriginLives{}
	for _, s := range strata() {
		own := s.of(cases)
		if len(own) == 0 {
			continue
		}
		answer, err := howLong(own, s, by, group)
		if err != nil {
			return nil, err
		}
		answers = append(answers, answer)
	}
	return answers, nil
}

func howLong(cases []Case, s stratum, by string, group func(Case) (string, bool)) (OriginLives, error) {
	answer := OriginLives{Origin: s.origin, Sealed: s.sealed, Of: s.String(), By: by, Rows: rowsOf(cases, group), Apart: apartOf(cases, group), Lacks: []findings.Refusal{}}
	if len(answer.Rows) == 0 {
		answer.Lacks = append(answer.Lacks, findings.Refusal{What: "ages", Why: "none of these charges tells an age. Missing: measurements that found one good after its fill, or openings of one with its fill day."})
		return answer, nil
	}
	lives, err := findings.NewLives(answer.Rows)
	if err != nil {
		return answer, err
	}
	answer.Report = findings.Analyse(lives, findings.FromRegister)
	if plot, ok := findings.NewPlot(answer.Report, lives); ok {
		answer.Plot = &plot
	}
	return answer, nil
}

// RowsOf picks the rows of one origin and build out of the answers. Where the
// build is not said, there must be charges of one build only: the two are never
// in one file.
func RowsOf(answers []OriginLives, origin loops.Origin, build string) ([]findings.Life, error) {
	answers = slices.DeleteFunc(slices.Clone(answers), func(a OriginLives) bool {
		return a.Origin != origin || build != "" && build != Build(a.Sealed)
	})
	switch len(answers) {
	case 0:
		return nil, nil
	case 1:
		return answers[0].Rows, nil
	}
	return nil, wrong("build", build, "open or sealed: charges of both are on record, and they are never pooled")
}

// apartOf counts the charges that the ages cannot use.
func apartOf(cases []Case, group func(Case) (string, bool)) []ApartLine {
	apart := []ApartLine{}
	for _, c := range cases {
		if c.LeftOut != "" {
			apart = countApart(apart, c.LeftOut)
		} else if _, ok := group(c); !ok {
			apart = countApart(apart, "nothing on record of what the groups are parted by")
		}
	}
	return apart
}

// traitsOf are the traits that a key's values, or a trait, stand for.
func traitsOf(cases []Case, by string) []Trait {
	if trait, err := ParseTrait(by); err == nil {
		return []Trait{trait}
	}
	var traits []Trait
	for _, value := range valuesOf(cases, by) {
		traits = append(traits, Trait{by, value})
	}
	return traits
}

// grouping returns what places a case in its group.
func grouping(cases []Case, by string) (func(Case) (string, bool), error) {
	if by == "" {
		return func(Case) (string, bool) { return "", true }, nil
	}
	if trait, err := ParseTrait(by); err == nil {
		return func(c Case) (string, bool) {
			has, known := c.has(trait)
			if has {
				return shorten(trait.Words()), known
			}
			return shorten("not " + trait.Words()), known
		}, nil
	}
	key, err := parseTraitKey(by)
	if err != nil {
		return nil, err
	}
	values := valuesOf(cases, key)
	return func(c Case) (string, bool) {
		own := c.value(key)
		at := slices.IndexFunc(values, func(v string) bool { return strings.EqualFold(v, own) })
		if at < 0 {
			return "", false
		}
		return shorten(values[at]), true
	}, nil
}

// shorten keeps the name of a group within what findings takes.
func shorten(name string) string {
	letters := []rune(name)
	for len(string(letters)) > findings.MaxName {
		letters = letters[:len(letters)-1]
	}
	return string(letters)
}
