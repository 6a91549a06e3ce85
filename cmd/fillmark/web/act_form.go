// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/url"
	"slices"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// actForm is the form of one act: names, headings, units, hints, choices and
// messages of its inputs are those of the act's fields. A page's template says
// only which stands where.
type actForm struct {
	acts.Definition
	fieldForm
	Tag loops.Tag
	// Chiller tells that its machine is one.
	Chiller bool
	Page    string // the page that it stands on, shown again where something is wrong
	Key     string // made when it is shown, so that sending it twice records it once
	Sent    bool   // it was sent and is shown again
	// Entry is what it was recorded as; zero until it was.
	Entry  loops.EntryID
	Stop   *acts.StopError
	status int // of the answer that shows it again
}

// formOf is the form of an act; prefix stands before the names of its inputs
// where a page sends several things in one form.
func formOf(d acts.Definition, f *form, prefix string) *actForm {
	return &actForm{Definition: d, fieldForm: fieldForm{f, d.Name, prefix, d.Fields}}
}

// Field draws a field; the page may call it otherwise than the act does.
func (f *actForm) Field(name string, label ...string) (field, error) {
	return f.fieldForm.Field(name, label...)
}

// actForms makes the forms of a page. The one that was sent keeps what was
// typed, and says what is wrong with it.
type actForms struct {
	tag     loops.Tag
	chiller bool
	page    string
	random  io.Reader
	offers  map[string]url.Values // what the page puts into a form that is new, by act
	drawn   map[string]bool       // the acts whose forms the page drew so far
	all     map[string]acts.Definition
	sent    *actForm // nil where none was
}

// Of is the form of an act; an act that is not there is an error of the
// template.
func (a actForms) Of(name string) (*actForm, error) {
	a.drawn[name] = true
	if a.sent != nil && a.sent.Name == name {
		return a.sent, nil
	}
	d, ok := a.all[name]
	if !ok {
		return nil, fmt.Errorf("no act is called %q", name)
	}
	key, err := newKey(a.random)
	f := formOf(d, newForm(maps.Clone(a.offers[name])), "")
	f.Tag, f.Chiller, f.Page, f.Key = a.tag, a.chiller, a.page, key
	return f, err
}

// Sent is the form that was sent and is shown again; nil where none was.
func (a actForms) Sent() *actForm { return a.sent }

// Undrawn is the form that was sent, where the page has not drawn it: the forms
// of a top-up or an opening stand on pages of their own. What speaks against the
// act and what was typed is shown all the same.
func (a actForms) Undrawn() *actForm {
	if a.sent == nil || a.drawn[a.sent.Name] {
		return nil
	}
	return a.sent
}

// definitions are the acts by their names. A page has many forms, and an act's
// fields and choices are much to make for each.
func definitions() map[string]acts.Definition {
	all := map[string]acts.Definition{}
	for _, d := range acts.All() {
		all[d.Name] = d
	}
	return all
}

// newKey makes the key of a form that is shown.
func newKey(random io.Reader) (string, error) {
	const bytes = 12 // 96 bits: no two forms get the same one
	raw := make([]byte, bytes)
	_, err := io.ReadFull(random, raw)
	return hex.EncodeToString(raw), err
}

// Own draws the act's own fields in their order: all but those that every act
// has, and those of chillers where the machine is none.
func (f *actForm) Own() ([]field, error) {
	var all []field
	for _, d := range f.Fields {
		if slices.Contains([]string{"day", "note", "already-done", "overrule", "key"}, d.Name) || d.OfChiller && !f.Chiller {
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

// Action is where the form is sent.
func (f *actForm) Action() string { return "/loops/" + string(f.Tag) + "/acts/" + f.Name }

// read is the act that is said; nil where something is wrong, which is marked.
func (f *actForm) read(said acts.Said) (acts.Act, error) {
	a, err := f.Definition.Read(said)
	if err != nil {
		return nil, f.take(err)
	}
	return a, nil
}

// take marks the fields that an error names and keeps a stop; it returns an
// error that is neither.
func (f *actForm) take(err error) error {
	f.status, _ = failureOf(err)
	if stop, ok := errors.AsType[*acts.StopError](err); ok {
		f.Stop = stop
		return nil
	}
	if errors.Is(err, loops.ErrRepeated) {
		said := "This form was sent before and is on record"
		if of, ok := errors.AsType[*workshop.RepeatedError](err); ok {
			said += ", with " + f.otherIn(of)
		}
		f.Rest = append(f.Rest, Problem{Field: said, Right: "nothing more; send it again to enter this as another"})
		return nil
	}
	return f.mark(err)
}

// otherIn names where a form says something else than when it was sent before.
func (f *actForm) otherIn(of *workshop.RepeatedError) string {
	switch d, own := f.described(of.Field); {
	case of.Field == "act" || of.Field == "tag":
		return "something else done than “" + of.Act + "”"
	case own && of.Act == f.Name:
		return "something else under “" + headingOf(d) + "”"
	case of.Act != "":
		return "something else under “" + of.Field + "” of “" + of.Act + "”"
	}
	return "something else under “" + of.Field + "”"
}

// Any tells that something is wrong or stopped.
func (f *actForm) Any() bool { return f.Stop != nil || !f.OK() }

// Overrulable are inputs for the rules that may be set aside, by name.
func (f *actForm) Overrulable() []field {
	var all []field
	for _, r := range f.Stop.Reasons {
		if r.Overrulable {
			x := f.field(f.Input("overrule:"+r.Rule), "Set "+r.Rule+" aside, because", "your name and this reason are printed on sheet and label")
			x.ID = f.Name + "-overrule-" + r.Rule
			all = append(all, x)
		}
	}
	return all
}

// Recordable tells that what was stopped can be recorded where it has happened
// already.
func (f *actForm) Recordable() bool { return !f.Releases }
