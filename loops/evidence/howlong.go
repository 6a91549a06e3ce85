// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package evidence

import (
	"fmt"
	"slices"

	"fillmark/loops"
	"fillmark/loops/findings"
)

// OriginLives answers "how long?" for the charges of one origin; origins are
// never pooled.
type OriginLives struct {
	Origin loops.Origin `json:"origin"`
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
	// Machines says how often a machine fails, refills and all; the same in each
	// answer, empty without a failure.
	Machines string `json:"machines,omitempty"`
}

// HowLong answers "how long do charges last?" for every origin on record, in
// groups by a key of traits or by having one trait or not; by is empty for all
// together.
func HowLong(cases []Case, by string) ([]OriginLives, error) {
	group, err := grouping(by)
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
	machines, err := machinesOf(cases)
	if err != nil {
		return nil, err
	}
	answers := []OriginLives{}
	for _, origin := range []loops.Origin{loops.WorkshopFill, loops.Factory, loops.UnknownOrigin} {
		if answer, ok, err := howLong(cases, origin, by, group); err != nil {
			return nil, err
		} else if ok {
			answer.Compared, answer.Machines = compared, machines
			answers = append(answers, answer)
		}
	}
	return answers, nil
}

func howLong(cases []Case, origin loops.Origin, by string, group func(Case) (string, bool)) (OriginLives, bool, error) {
	answer := OriginLives{Origin: origin, By: by, Rows: rowsOf(cases, origin, group), Apart: apartOf(cases, origin, group), Lacks: []findings.Refusal{}}
	if len(answer.Rows) == 0 {
		if len(answer.Apart) == 0 {
			return answer, false, nil
		}
		answer.Lacks = append(answer.Lacks, findings.Refusal{What: "ages", Why: "no charge of this origin tells an age. Missing: measurements that found one good after its fill, or openings of one with its fill day."})
		return answer, true, nil
	}
	lives, err := findings.NewLives(answer.Rows)
	if err != nil {
		return answer, false, err
	}
	answer.Report = findings.Analyse(lives, findings.FromRegister)
	if plot, ok := findings.NewPlot(answer.Report, lives); ok {
		answer.Plot = &plot
	}
	return answer, true, nil
}

// apartOf counts the charges of an origin that the ages cannot use.
func apartOf(cases []Case, origin loops.Origin, group func(Case) (string, bool)) []ApartLine {
	apart := []ApartLine{}
	for _, c := range cases {
		if c.Origin != origin {
			continue
		}
		if c.LeftOut != "" {
			apart = countApart(apart, c.LeftOut)
		} else if _, ok := group(c); !ok {
			apart = countApart(apart, "nothing on record of what the groups are parted by")
		}
	}
	return apart
}

// machinesOf says how many failures a machine has had on average by the oldest
// age at which five were watched, counted from its first fill on record.
func machinesOf(cases []Case) (string, error) {
	began := map[loops.Tag]loops.Day{}
	of := map[loops.Tag]*findings.History{}
	failures := 0
	for _, c := range cases { // a loop's charges in order
		if began[c.Tag].IsZero() {
			began[c.Tag], of[c.Tag] = c.Filled, &findings.History{}
		}
		if c.Ended.IsZero() {
			continue
		}
		age, h := max(0, months(began[c.Tag], c.Ended)), of[c.Tag]
		h.To = max(h.To, age)
		if c.Failed && age > 0 {
			h.Failures = append(h.Failures, age)
			failures++
		}
	}
	var machines []findings.History
	for _, h := range of {
		if h.To > 0 {
			machines = append(machines, *h)
		}
	}
	steps, err := findings.MeanFailures(machines)
	if err != nil {
		return "", err
	}
	for _, s := range slices.Backward(steps) {
		if s.AtRisk >= findings.FewAtRisk {
			return fmt.Sprintf("A machine has had %.2f failures on average %.0f months after its first fill, refills and all (95 %% limits %.2f to %.2f, from %s of %s).",
				s.Mean, s.Age, s.Lower, s.Upper, counted(failures, "failure"), counted(len(machines), "machine")), nil
		}
	}
	return "", nil
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
func grouping(by string) (func(Case) (string, bool), error) {
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
	return func(c Case) (string, bool) {
		value := shorten(c.value(key))
		return value, value != ""
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
