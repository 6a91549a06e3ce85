// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package chemistry

import "slices"

// Verdict is the answer to "may I?". The zero value "" counts as [Go].
type Verdict string

// The verdicts, from good to bad.
const (
	Go   Verdict = "go"
	Care Verdict = "care" // possible, with what the reasons say
	Stop Verdict = "stop" // do not
)

func (v Verdict) rank() int {
	switch v {
	case Stop:
		return 2
	case Care:
		return 1
	}
	return 0
}

// Worse reports whether v is worse than o.
func (v Verdict) Worse(o Verdict) bool { return v.rank() > o.rank() }

// Max returns the worse of v and o.
func (v Verdict) Max(o Verdict) Verdict {
	if o.Worse(v) {
		return o
	}
	return v
}

// Grade says how good the source of a fact is.
type Grade string

// The grades, from firm to weak. What stands on [FromMemory] alone never makes or
// supports a go: it raises a verdict to care at most.
const (
	Standard   Grade = "S" // wording of a standard or a regulator, seen
	Secondary  Grade = "R" // report of a named standard or guideline
	Maker      Grade = "M" // manual of a maker or of the trade
	Practice   Grade = "P" // practice page, magazine, forum
	Computed   Grade = "X" // computed here from sourced figures
	FromMemory Grade = "Z" // from memory, not verified
)

// Decides reports whether a fact of this grade may decide a verdict, be it go or stop.
func (g Grade) Decides() bool { return g != FromMemory && g != "" }

// Name returns the grade in words.
func (g Grade) Name() string {
	switch g {
	case Standard:
		return "standard or regulator"
	case Secondary:
		return "report of a named standard or guideline"
	case Maker:
		return "maker's or trade manual"
	case Practice:
		return "common practice"
	case Computed:
		return "computed from sourced figures"
	case FromMemory:
		return "from memory, not verified"
	}
	return string(g)
}

// Reason is one rule that fired.
type Reason struct {
	Rule      string  `json:"rule"`                 // id in [Rules]
	Verdict   Verdict `json:"verdict"`              // what the rule alone would say
	Text      string  `json:"text"`                 // for the technician, with the figures of this case
	OwnerText string  `json:"owner_text,omitempty"` // for the owner; empty when it is none of the owner's business
	Source    string  `json:"source"`
	Grade     Grade   `json:"grade"`
	// Way is what to do about it; empty where the text says so.
	Way string `json:"way,omitempty"`
	// Overrulable tells that a technician may set the rule aside by name and reason. What protects people from harm cannot be.
	Overrulable bool `json:"overrulable,omitempty"`
}

// WorstFirst returns the reasons with the worst verdicts in front, and else in their order; never nil, so that JSON has a list.
func WorstFirst(reasons []Reason) []Reason {
	out := append([]Reason{}, reasons...)
	slices.SortStableFunc(out, func(a, b Reason) int {
		switch {
		case a.Verdict.Worse(b.Verdict):
			return -1
		case b.Verdict.Worse(a.Verdict):
			return 1
		}
		return 0
	})
	return out
}

// Judge returns the worst verdict among reasons; one whose grade does not decide counts as care at most.
func Judge(reasons []Reason) Verdict {
	v := Go
	for _, r := range reasons {
		switch {
		case r.Grade.Decides():
			v = v.Max(r.Verdict)
		case r.Verdict != Go:
			v = v.Max(Care)
		}
	}
	return v
}
