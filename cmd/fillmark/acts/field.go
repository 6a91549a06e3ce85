// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"errors"
	"slices"
	"strings"

	"fillmark/loops"
)

// Said is what somebody said, by field: texts as a flag takes them, quantities
// with their unit. Flags, JSON, forms and tables are all read into it.
type Said map[string][]string

// Field describes one field of an act or a record. Everything that shows or
// takes the field follows from it.
type Field struct {
	// Name is the flag, the form's field and, with the unit behind it, the JSON
	// key and the column of a table: words with hyphens.
	Name string
	// Key stands in JSON and in tables in the place of Name; empty where they
	// are one.
	Key string
	// Also are the names that validation gives to what the field holds.
	Also []string
	// Label is its heading on a page and its name in a history.
	Label string
	// Help is one line, from a small letter, without a full stop.
	Help    string
	Example string
	// Needed tells that the act cannot be without it.
	Needed bool
	// Unknown tells that it may be said not to be known.
	Unknown bool
	// None tells that "none" says that there is none.
	None bool
	// Fixed tells that a record's field is given once: an edit does not take it.
	Fixed bool
	// Judges tells that a change of the record's field may change the verdict on
	// what is in a loop.
	Judges bool
	// Personal tells that what a person said or is stands in it, so that erasing
	// the owner empties it.
	Personal bool
	// OfChiller tells that only chillers have it: the pages of others leave it out.
	OfChiller bool
	// Names tells that it says who the person is: a text elsewhere in which it
	// stands is about them.
	Names bool
	// Hidden tells that no page draws it and no history tells it.
	Hidden bool

	// What follows is of the field's kind of value.

	Word    string // what help calls the value: VOLUME
	Unit    string // of a bare number; empty for words
	Type    Type
	Many    bool // it can be said several times
	Unsaid  bool // not said is a value of its own beside yes, no and zero
	Choices []string
	Shown   []string // the choices as people read them
}

// Type is how a value stands in JSON.
type Type string

// The types of values.
const (
	Text   Type = "string"
	Lines  Type = "lines" // text with line breaks
	Number Type = "number"
	Truth  Type = "boolean"
	Date   Type = "date"
)

// JSONKey is the field's name in JSON, with the unit behind it where the name is
// not the unit's own.
func (f Field) JSONKey() string {
	key := f.Key
	if key == "" {
		key = strings.ReplaceAll(f.Name, "-", "_")
	}
	if unit := unitKeys[f.Unit]; f.Type == Number && unit != "" && key != unit {
		key += "_" + unit
	}
	return key
}

// unitKeys are the units as JSON keys end.
var unitKeys = map[string]string{
	"ml": "ml", "g": "g", "C": "c", "K": "k", "%": "percent", "W": "w", "h": "h", "mm": "mm", "months": "months", "ml/l": "ml_per_l", "pH": "ph",
}

// field is a field of a struct A with how it is read into and told from one.
type field[A any] struct {
	Field
	set  func(*A, []string) error
	say  func(*A) []string // exact, as set reads it; nil where nothing is said
	show func(*A) []string // as people read it
}

// one is a field whose zero value is "not said".
func one[A any, V comparable](f Field, k kind[V], at func(*A) *V) field[A] {
	return field[A]{
		Field: k.describe(f),
		set: func(a *A, texts []string) error {
			v, err := k.single(f, texts)
			*at(a) = v
			return err
		},
		say:  func(a *A) []string { return told(*at(a), k.print) },
		show: func(a *A) []string { return told(*at(a), k.show) },
	}
}

func told[V comparable](v V, print func(V) string) []string {
	var zero V
	if v == zero {
		return nil
	}
	return []string{print(v)}
}

// may is a field for which nil is "not said": zero is a value of its own.
func may[A, V any](f Field, k kind[V], at func(*A) **V) field[A] {
	tell := func(print func(V) string) func(*A) []string {
		return func(a *A) []string {
			if v := *at(a); v != nil {
				return []string{print(*v)}
			}
			return nil
		}
	}
	described := k.describe(f)
	described.Unsaid = true
	return field[A]{
		Field: described,
		set: func(a *A, texts []string) error {
			*at(a) = nil
			if f.blank(texts) {
				return nil
			}
			v, err := k.single(f, texts)
			if err == nil {
				*at(a) = &v
			}
			return err
		},
		say: tell(k.print), show: tell(k.show),
	}
}

// either is a yes or a no, told either way.
func either[A any](f Field, at func(*A) *bool) field[A] {
	k := truth()
	tell := func(a *A) []string { return []string{k.print(*at(a))} }
	of := one(f, k, at)
	of.say, of.show = tell, tell
	return of
}

// many is a field that can be said several times.
func many[A, V any](f Field, k kind[V], at func(*A) *[]V) field[A] {
	tell := func(print func(V) string) func(*A) []string {
		return func(a *A) []string {
			var all []string
			for _, v := range *at(a) {
				all = append(all, print(v))
			}
			return all
		}
	}
	described := k.describe(f)
	described.Many = true
	return field[A]{
		Field: described,
		set: func(a *A, texts []string) error {
			*at(a) = nil
			for _, text := range texts {
				if f.blank([]string{text}) {
					continue
				}
				v, err := k.parse(text)
				if err != nil {
					return inField(err, f.Name, text)
				}
				*at(a) = append(*at(a), v)
			}
			return nil
		},
		say: tell(k.print), show: tell(k.show),
	}
}

// blank tells that nothing was said, or that it is not known.
func (f Field) blank(texts []string) bool {
	if len(texts) != 1 {
		return len(texts) == 0
	}
	return texts[0] == "" || f.Unknown && isUnknown(texts[0]) || f.None && strings.EqualFold(strings.TrimSpace(texts[0]), "none")
}

// isUnknown reads the words for a value that nobody knows.
func isUnknown(text string) bool {
	return slices.Contains([]string{"unknown", "not known"}, strings.ToLower(strings.TrimSpace(text)))
}

// inField puts an error into the field it is about.
func inField(err error, name, text string) error {
	var invalid *loops.InvalidError
	if !errors.As(err, &invalid) {
		return err
	}
	value := invalid.Value
	if value == "" {
		value = text
	}
	return wrong(name, value, invalid.Reason)
}

// fields are those of one struct, read and told together.
type fields[A any] []field[A]

// described lists the fields for the adapters.
func (all fields[A]) described() []Field {
	out := make([]Field, 0, len(all))
	for _, f := range all {
		out = append(out, f.Field)
	}
	return out
}

// set sets what was said over the struct and returns all that cannot be read,
// joined. Fields that nobody spoke of stay as they are.
func (all fields[A]) set(a *A, said Said) error {
	var problems []error
	for name := range said {
		if !slices.ContainsFunc(all, func(f field[A]) bool { return f.Name == name }) {
			problems = append(problems, wrong(name, strings.Join(said[name], ", "), "one of the fields: "+all.names()))
		}
	}
	for _, f := range all {
		if texts, ok := said[f.Name]; ok {
			problems = append(problems, f.set(a, texts))
		}
	}
	return errors.Join(problems...)
}

// read is set, and asks for what the struct cannot be without.
func (all fields[A]) read(a *A, said Said) error {
	problems := []error{all.set(a, said)}
	for _, f := range all {
		if f.Needed && len(f.say(a)) == 0 && !refused(problems[0], f.Name) {
			problems = append(problems, wrong(f.Name, strings.Join(said[f.Name], ", "), f.asked()))
		}
	}
	return errors.Join(problems...)
}

// refused tells that one of the joined errors is about the field.
func refused(err error, name string) bool {
	return slices.ContainsFunc(loops.EachFault(err), func(e error) bool {
		var invalid *loops.InvalidError
		return errors.As(e, &invalid) && invalid.Field == name
	})
}

// asked says what belongs into a field.
func (f Field) asked() string {
	text := f.Help
	if f.Example != "" {
		text += ", such as " + f.Example
	}
	return text
}

func (all fields[A]) names() string {
	var names []string
	for _, f := range all {
		names = append(names, f.Name)
	}
	return strings.Join(names, ", ")
}

// say tells everything that the struct holds, exactly.
func (all fields[A]) say(a *A) Said {
	said := Said{}
	for _, f := range all {
		if texts := f.say(a); len(texts) > 0 {
			said[f.Name] = texts
		}
	}
	return said
}

// words tells the struct as a history does: label and value, one after the
// other.
func (all fields[A]) words(a *A) []string {
	var words []string
	for _, f := range all {
		texts := f.show(a)
		if len(texts) == 0 || f.Hidden {
			continue
		}
		if f.Type == Truth {
			words = append(words, f.truth(texts[0]))
			continue
		}
		words = append(words, strings.TrimSpace(f.Label+" "+strings.Join(texts, ", ")))
	}
	return words
}

// truth tells a yes or a no by the field's label.
func (f Field) truth(text string) string {
	if text == yes {
		return f.Label
	}
	return f.Label + ": no"
}

// named gives the errors of validation the names of the fields they are about.
func (all fields[A]) named(err error) error {
	return loops.MapFaults(err, func(err error) error {
		var invalid *loops.InvalidError
		if errors.As(err, &invalid) {
			for _, f := range all {
				if f.Is(invalid.Field) {
					return wrong(f.Name, invalid.Value, invalid.Reason)
				}
			}
		}
		return err
	})
}

// Is tells whether an error's field is this one, by any of its names.
func (f Field) Is(name string) bool {
	return name == f.Name || name == f.JSONKey() || slices.Contains(f.Also, name)
}
