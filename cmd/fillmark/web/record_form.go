// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"fillmark/cmd/fillmark/acts"
)

// recordForm is the form of a record, or the part of a form that is about one.
type recordForm[T any] struct {
	fieldForm
	record acts.Record[T]
}

func formOfRecord[T any](record acts.Record[T], f *form) recordForm[T] {
	return recordForm[T]{fieldForm{f, record.Name, record.Name + ".", record.Fields()}, record}
}

// offer puts what is on record into the form, with the revision that it is of.
func (f recordForm[T]) offer(is T, revision uint64) {
	said := f.record.Say(is)
	for _, d := range f.fields {
		texts := said[d.Name]
		for i := range texts {
			texts[i] = strings.TrimSuffix(texts[i], d.Unit) // which its heading says
		}
		switch {
		case isKnown(d):
			f.offerKnown(f.Input(d.Name), strings.Join(texts, ""))
		case lineByLine(d):
			f.form.offer(f.Input(d.Name), strings.Join(texts, "\n"))
		default:
			f.typed[f.Input(d.Name)] = texts
		}
	}
	f.form.offer(f.Input("revision"), strconv.FormatUint(revision, 10))
}

// read sets what the form says over a record: of a field that the page does not
// ask about nothing is said, a box that is not ticked is a no, and of boxes for
// several none ticked is none. What the record cannot be is marked by its field.
func (f recordForm[T]) read(is *T, validate func(T) error) error {
	said, was := f.said(), f.record.Say(*is)
	for _, d := range f.fields {
		if _, ok := said[d.Name]; !ok && (f.typed.Has(f.Input(d.Name)) || unticked(d)) {
			said[d.Name] = nil
		}
		if isKnown(d) && slices.Equal(said[d.Name], was[d.Name]) {
			delete(said, d.Name) // the record may hold more than a form tells
		}
	}
	err := f.record.Read(is, said)
	if err == nil {
		err = validate(*is)
	}
	return f.take(err)
}

// unticked tells a field of which a form sends nothing where no box is ticked.
func unticked(d acts.Field) bool { return d.Type == acts.Truth || d.Many && len(d.Choices) > 0 }

// revision is the one that the technician read.
func (f recordForm[T]) revision() uint64 {
	n, err := strconv.ParseUint(f.text(f.Input("revision")), 10, 64)
	if err != nil {
		f.blame(f.Input("revision"), "the page as it was opened")
	}
	return n
}

// keepBoth sets what is on record by now beside what was typed. Sent again, the
// form replaces what somebody else wrote in between.
func (f recordForm[T]) keepBoth(now, typed T, revision uint64) {
	was, is := f.record.Say(now), f.record.Say(typed)
	for _, d := range f.record.Changed(now, typed) {
		f.form.Both = append(f.form.Both, bothSides{f.record.Name + ": " + d.Label, inTable(was[d.Name]), inTable(is[d.Name])})
	}
	f.typed.Set(f.Input("revision"), strconv.FormatUint(revision, 10))
}

// inTable is what a field says between others in a table.
func inTable(texts []string) string { return cmp.Or(strings.Join(texts, ", "), "nothing") }

// But draws the fields of a record but the named, and those that are given
// once.
func (f recordForm[T]) But(names ...string) ([]field, error) {
	var all []field
	for _, d := range f.fields {
		if d.Fixed || slices.Contains(names, d.Name) {
			continue
		}
		x, err := f.Field(d.Name)
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return all, nil
}

// take marks what the register says against the record.
func (f recordForm[T]) take(err error) error { return f.mark(f.record.Named(err)) }

// isKnown tells a field that says how another is known: it has three inputs.
func isKnown(d acts.Field) bool { return strings.HasPrefix(d.Word, "HOW[=BY]") }

// offerKnown puts HOW=BY@DAY into the three inputs.
func (f recordForm[T]) offerKnown(input, text string) {
	how, on := text, ""
	if at := strings.LastIndexByte(text, '@'); at >= 0 {
		how, on = text[:at], text[at+1:]
	}
	how, by, _ := strings.Cut(how, "=")
	f.form.offer(input, how)
	f.form.offer(input+":by", by)
	f.form.offer(input+":on", on)
}
