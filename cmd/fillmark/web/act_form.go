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
	"strings"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// actForm is the form of one act: names, headings, units, hints, choices and
// messages of its inputs are those of the act's fields. A page's template says
// only which stands where.
type actForm struct {
	acts.Definition
	*form
	Tag    loops.Tag
	Page   string // the page that it stands on, shown again where something is wrong
	Key    string // made when it is shown, so that sending it twice records it once
	Sent   bool   // it was sent and is shown again
	Stop   *acts.StopError
	status int // of the answer that shows it again
	// prefix stands before the names of its inputs where a page sends several
	// acts in one form.
	prefix string
}

// actForms makes the forms of a page. The one that was sent keeps what was
// typed, and says what is wrong with it.
type actForms struct {
	tag    loops.Tag
	page   string
	random io.Reader
	offers map[string]url.Values // what the page puts into a form that is new, by act
	sent   *actForm              // nil where none was
}

// Of is the form of an act; an act that is not there is an error of the
// template.
func (a actForms) Of(name string) (*actForm, error) {
	if a.sent != nil && a.sent.Name == name {
		return a.sent, nil
	}
	d, ok := acts.Find(name)
	if !ok {
		return nil, fmt.Errorf("no act is called %q", name)
	}
	key, err := newKey(a.random)
	return &actForm{Definition: d, form: newForm(maps.Clone(a.offers[name])), Tag: a.tag, Page: a.page, Key: key}, err
}

// Sent is the form that was sent and is shown again; nil where none was.
func (a actForms) Sent() *actForm { return a.sent }

// newKey makes the key of a form that is shown.
func newKey(random io.Reader) (string, error) {
	const bytes = 12 // 96 bits: no two forms get the same one
	raw := make([]byte, bytes)
	_, err := io.ReadFull(random, raw)
	return hex.EncodeToString(raw), err
}

// Field draws a field; the page may call it otherwise than the act does.
func (f *actForm) Field(name string, label ...string) (field, error) {
	d, ok := f.Definition.Field(name)
	if !ok {
		return field{}, fmt.Errorf("the act %s has no field %q", f.Name, name)
	}
	x := f.field(f.Input(name), headingOf(d), d.Help)
	x.ID, x.Part = f.Name+"-"+name, "input"
	if len(label) > 0 {
		x.Label = label[0]
	}
	switch {
	case d.Many && len(d.Choices) > 0:
		x.Part, x.Choices = "ticks", choicesIn(d, f.typed[x.Name])[1:]
	case d.Type == acts.Truth && !d.Unsaid:
		x.Part, x.On, x.Hint = "tick", x.Value != "", ""
		if len(label) == 0 {
			x.Label = capital(d.Help)
		}
	case len(d.Choices) > 0:
		x.Part, x.Choices = "choose", choicesIn(d, f.typed[x.Name])
	case d.Type == acts.Lines:
		x.Part = "area"
	case d.Type == acts.Date:
		x.Kind = "date"
	case d.Type == acts.Number:
		x.Mode = "decimal"
	}
	return x, nil
}

// Input is the name of the input of a field.
func (f *actForm) Input(name string) string { return f.prefix + name }

// Own draws the act's own fields in their order: all but those that every act
// has.
func (f *actForm) Own() ([]field, error) {
	var all []field
	for _, d := range f.Fields {
		if slices.Contains([]string{"day", "note", "already-done", "overrule", "key"}, d.Name) {
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

// headingOf is what a field is called above its input, with the unit of a bare
// figure.
func headingOf(d acts.Field) string {
	text := d.Label
	if text == "" {
		text = strings.ReplaceAll(d.Name, "-", " ")
	}
	if text != "pH" {
		text = capital(text)
	}
	switch unit := d.Unit; unit {
	case "":
		return text
	case "C":
		return text + ", °C"
	default:
		return text + ", " + unit
	}
}

func choicesIn(d acts.Field, chosen []string) []choice {
	none := "not said"
	switch {
	case d.Needed:
		none = "choose"
	case d.Unknown:
		none = "not known"
	}
	all := []choice{{Label: none}}
	for i, value := range d.Choices {
		all = append(all, choice{Value: value, Label: d.Shown[i], On: slices.Contains(chosen, value)})
	}
	return all
}

// said gathers what the inputs say. A figure may be typed without its unit,
// with a decimal comma and a true minus sign. An input "poured:water" that
// holds 40 says water=40ml; where "poured-of" says water, "poured" alone does.
func (f *actForm) said() acts.Said {
	said := acts.Said{}
	for _, d := range f.Fields {
		name := f.Input(d.Name)
		add := func(key, text string) {
			if text = strings.TrimSpace(strings.ReplaceAll(text, "\r\n", "\n")); text == "" {
				return
			}
			if d.Type == acts.Number || d.Unit != "" {
				text = withUnit(text, d.Unit)
			}
			if key != "" {
				text = key + "=" + text
			}
			said[d.Name] = append(said[d.Name], text)
		}
		for _, text := range f.typed[name] {
			add(f.text(name+"-of"), text)
		}
		for _, input := range slices.Sorted(maps.Keys(f.typed)) {
			if key, ok := strings.CutPrefix(input, name+":"); ok {
				add(key, f.typed.Get(input))
			}
		}
	}
	return said
}

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
		f.Rest = append(f.Rest, Problem{Field: "sent before", Right: err.Error()})
		return nil
	}
	problems := problemsOf(err)
	if rng, ok := errors.AsType[*chemistry.RangeError](err); ok && len(problems) == 0 {
		problems = []Problem{{Field: "range", Right: rng.Error()}}
	}
	if err != nil && len(problems) == 0 {
		return err
	}
	for _, p := range problems {
		if _, ok := f.Definition.Field(p.Field); ok {
			f.blame(f.Input(p.Field), p.Right)
		} else {
			f.Rest = append(f.Rest, p)
		}
	}
	return nil
}

// Wrong lists the fields that are marked, as the page links to them.
func (f *actForm) Wrong() []field {
	var all []field
	for _, d := range f.Fields {
		if x, err := f.Field(d.Name); err == nil && x.Problem != "" {
			all = append(all, x)
		}
	}
	return all
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
