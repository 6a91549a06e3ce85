// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts

import (
	"slices"
	"strings"

	"fillmark/loops"
)

// Record is a record as the adapters know it: flags, tables, the names in
// errors, the words of the audit and what erasing an owner empties are made
// from its fields. What a record may hold says its own Validate.
type Record[T any] struct {
	// Name is what it is, in the middle of a sentence: "machine".
	Name string

	all fields[T]
}

// Fields lists the fields in the order in which they are asked for.
func (r Record[T]) Fields() []Field { return r.all.described() }

// Read sets what was said over the record and returns all that cannot be read,
// joined. What nobody spoke of stays.
func (r Record[T]) Read(is *T, said Said) error { return r.all.set(is, said) }

// Say tells the record exactly, as Read takes it.
func (r Record[T]) Say(is T) Said { return r.all.say(&is) }

// Named gives the errors of validation the names of the fields they are about.
func (r Record[T]) Named(err error) error { return r.all.named(err) }

// Changed lists the fields in which two versions differ.
func (r Record[T]) Changed(was, is T) []Field {
	var changed []Field
	for _, f := range r.all {
		if !slices.Equal(f.say(&was), f.say(&is)) {
			changed = append(changed, f.Field)
		}
	}
	return changed
}

// Labels names fields for the audit. The values stay out of it: an erased
// owner's would have to be found there again.
func Labels(fields []Field) string {
	var labels []string
	for _, f := range fields {
		labels = append(labels, f.Label)
	}
	return strings.Join(labels, ", ")
}

// erase empties what is personal.
func (r Record[T]) erase(is *T) {
	for _, f := range r.all {
		if f.Personal {
			_ = f.set(is, nil) // nothing said can always be read
		}
	}
}

// Erasing is what the store empties records with when an owner is erased.
func Erasing() loops.Erasing {
	return loops.Erasing{
		Owner: func(o loops.Owner, day loops.Day) loops.Owner {
			Owners().erase(&o)
			o.Name, o.MailStopped = loops.ErasedText, day
			return o.LinksEnded()
		},
		Machine: func(m loops.Machine) loops.Machine {
			Machines().erase(&m)
			m.Name = string(m.Kind)
			return m
		},
	}
}
