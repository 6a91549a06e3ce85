// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"fillmark/chemistry"
)

// form is what was typed into a page and what is wrong with it, by field.
// Pages show it again as it was typed, with what would be right beside.
type form struct {
	typed    url.Values
	problems map[string]string
	// Rest are the problems that belong to no field of the page.
	Rest []Problem
	// Both are the fields in which what was typed and what is on record by now
	// differ; nil unless somebody else wrote in between.
	Both []bothSides
}

// bothSides is a field as it is on record and as it was typed.
type bothSides struct{ Field, Now, Typed string }

func newForm(typed url.Values) *form {
	if typed == nil {
		typed = url.Values{}
	}
	return &form{typed: typed, problems: map[string]string{}}
}

// postedForm reads the body of a POST.
func postedForm(r *http.Request) (*form, error) {
	if err := r.ParseForm(); err != nil {
		return nil, formFault(err)
	}
	return newForm(r.PostForm), nil
}

// text returns what was typed into a field, without blanks around it. Forms
// send line ends as CRLF, the record keeps LF.
func (f *form) text(name string) string {
	return strings.TrimSpace(strings.ReplaceAll(f.typed.Get(name), "\r\n", "\n"))
}

// ticked tells whether a box is ticked.
func (f *form) ticked(name string) bool { return f.typed.Get(name) != "" }

// offer puts text into a field that nobody typed into yet.
func (f *form) offer(name, text string) {
	if !f.typed.Has(name) {
		f.typed.Set(name, text)
	}
}

// blame marks a field; the first mark stays.
func (f *form) blame(name, right string) {
	if f.problems[name] == "" {
		f.problems[name] = right
	}
}

// OK tells that nothing is wrong so far.
func (f *form) OK() bool { return len(f.problems)+len(f.Rest) == 0 }

// Any tells that some field is marked.
func (f *form) Any() bool { return !f.OK() }

// take marks the fields that an error names. Fields maps the record's names
// to the form's; a name that is both needs no entry. It returns the error
// where it is not about input at all.
func (f *form) take(err error, fields map[string]string) error {
	return f.marks(err, func(field string) (string, bool) {
		name, ok := fields[field]
		if !ok {
			name = strings.ReplaceAll(field, " ", "_")
		}
		return name, ok || f.typed.Has(name)
	})
}

// marks marks the inputs of the fields that an error names; what is about none of
// the page's is told above it.
func (f *form) marks(err error, inputOf func(field string) (name string, ok bool)) error {
	problems := problemsOf(err)
	if rng, ok := errors.AsType[*chemistry.RangeError](err); ok && len(problems) == 0 {
		problems = []Problem{{Field: "range", Right: rng.Error()}}
	}
	if err != nil && len(problems) == 0 {
		return err
	}
	for _, p := range problems {
		if name, ok := inputOf(p.Field); ok {
			f.blame(name, p.Right)
		} else {
			f.Rest = append(f.Rest, p)
		}
	}
	return nil
}

// read reads a field that must be filled in. The text may carry a unit of its
// own; else it is in the label's.
func read[T any](f *form, name, unit string, parse func(string) (T, error)) (value T) {
	if v := mayRead(f, name, unit, parse); v != nil {
		return *v
	}
	f.blame(name, "a figure; the field is empty")
	return value
}

// mayRead reads a field that may stay empty; nil where it is.
func mayRead[T any](f *form, name, unit string, parse func(string) (T, error)) *T {
	text := f.text(name)
	if text == "" {
		return nil
	}
	value, err := parse(withUnit(text, unit))
	if err == nil {
		return &value
	}
	right := "a figure such as 20"
	if problems := problemsOf(err); len(problems) > 0 && problems[0].Right != "" {
		right = problems[0].Right
	}
	f.blame(name, right)
	return nil
}

// withUnit appends the label's unit to a bare figure and lets people write it
// with a true minus sign. What a comma means is for the parser to say.
func withUnit(text, unit string) string {
	text = strings.ReplaceAll(text, "\u2212", "-")
	if last, _ := utf8.DecodeLastRuneInString(text); unicode.IsDigit(last) {
		return text + unit
	}
	return text
}

// field is one input as its part draws it.
type field struct {
	ID                 string // of the input; its name unless a page has several of that name
	Name, Label, Value string
	Hint               string
	Problem            string // what would be right; empty where nothing is wrong
	Kind               string // of input: text, tel, email, date
	Mode               string // of the keyboard: decimal, text
	Part               string // of the template: input, area, tick, choose, ticks, several
	Most               int    // characters that an area takes
	On                 bool   // a ticked box
	Choices            []choice
	Parts              []field // of several inputs that say one field
}

// choice is one line of a list to choose from.
type choice struct {
	Value, Label string
	On           bool
}

func (f *form) field(name, label, hint string) field {
	return field{ID: name, Name: name, Label: label, Value: f.typed.Get(name), Hint: hint, Problem: f.problems[name], Kind: "text", Mode: "text", Most: 2000}
}

// Text is a line of text.
func (f *form) Text(name, label, hint string) field { return f.field(name, label, hint) }

// Lines are many of them, each for itself: what is too much is told, not cut off.
func (f *form) Lines(name, label, hint string) field {
	x := f.field(name, label, hint)
	x.Part, x.Most = "area", 20_000
	return x
}

// Input is a line of the kind: tel, email, date.
func (f *form) Input(kind, name, label, hint string) field {
	x := f.field(name, label, hint)
	x.Kind = kind
	return x
}

// Number is a figure; the unit stands in the label.
func (f *form) Number(name, label, hint string) field {
	x := f.field(name, label, hint)
	x.Mode = "decimal"
	return x
}

// Tick is a box to tick.
func (f *form) Tick(name, label, hint string) field {
	x := f.field(name, label, hint)
	x.Part, x.On = "tick", f.ticked(name)
	return x
}

// Choose is a list to choose from.
func (f *form) Choose(name, label, hint string, choices []choice) field {
	x := f.field(name, label, hint)
	x.Part, x.Choices = "choose", slices.Clone(choices)
	for i := range x.Choices {
		x.Choices[i].On = x.Choices[i].Value == x.Value
	}
	return x
}

// choicesOf lists values under their own names after an empty line.
func choicesOf[T ~string](none string, values []T) []choice {
	var all []choice
	if none != "" {
		all = append(all, choice{Label: none})
	}
	for _, v := range values {
		label := string(v)
		if named, ok := any(v).(interface{ Name() string }); ok {
			label = named.Name()
		}
		all = append(all, choice{Value: string(v), Label: label})
	}
	return all
}

// Chose tells that a value was among those that were sent for a field.
func (f *form) Chose(name, value string) bool { return slices.Contains(f.typed[name], value) }

// Problem says what would be right in a field; empty where nothing is wrong.
func (f *form) Problem(name string) string { return f.problems[name] }

// Typed is what was typed into a field.
func (f *form) Typed(name string) string { return f.typed.Get(name) }
