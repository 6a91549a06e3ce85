// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// fieldForm is a form, or a part of one, whose inputs are described fields:
// their names, headings, units, hints, choices and messages come from there. A
// page's template says only which stands where.
type fieldForm struct {
	*form
	about  string // the act or the record, for ids and errors
	prefix string // before the names of its inputs
	fields []acts.Field
}

// yes is what a ticked box sends.
const yes = "yes"

func (f fieldForm) described(name string) (acts.Field, bool) {
	for _, d := range f.fields {
		if d.Name == name {
			return d, true
		}
	}
	return acts.Field{}, false
}

// Field draws a field. A page may call it otherwise than its description does;
// the description's help then says nothing new, so the hint is the page's too.
func (f fieldForm) Field(name string, labelAndHint ...string) (field, error) {
	d, ok := f.described(name)
	if !ok {
		return field{}, fmt.Errorf("%s has no field %q", f.about, name)
	}
	x := f.field(f.Input(name), headingOf(d), d.Help)
	x.ID, x.Part = f.about+"-"+name, "input"
	if len(labelAndHint) > 0 {
		x.Label, x.Hint = labelAndHint[0], strings.Join(labelAndHint[1:], " ")
	}
	if strings.EqualFold(x.Hint, x.Label) {
		x.Hint = ""
	}
	switch {
	case isKnown(d):
		by, on := f.field(x.Name+":by", x.Label+" by", "the instrument, the paper, or who says so"), f.field(x.Name+":on", x.Label+" on", "")
		by.ID, by.Part, on.ID, on.Part, on.Kind = x.ID+"-by", "input", x.ID+"-on", "input", "date"
		x.Part, x.Label, x.Choices = "choose", x.Label+" how", choicesIn(d, f.typed[x.Name])
		return field{Part: "several", Parts: []field{x, by, on}}, nil
	case d.Many && len(d.Choices) > 0:
		x.Part, x.Choices = "ticks", choicesIn(d, f.typed[x.Name])[1:]
	case d.Type == acts.Truth && !d.Unsaid:
		x.Part, x.On, x.Hint = "tick", x.Value == yes, ""
		if len(labelAndHint) == 0 {
			x.Label = loops.Capital(d.Help)
		}
	case len(d.Choices) > 0:
		x.Part, x.Choices = "choose", choicesIn(d, f.typed[x.Name])
	case d.Type == acts.Lines, lineByLine(d):
		x.Part = "area"
	case d.Type == acts.Date:
		x.Kind = "date"
	case d.Type == acts.Number:
		x.Mode = "decimal"
	}
	return x, nil
}

// Input is the name of the input of a field.
func (f fieldForm) Input(name string) string { return f.prefix + name }

// As is a field whose input is of the kind: tel, email.
func (f fieldForm) As(kind, name string) (field, error) {
	x, err := f.Field(name)
	x.Kind = kind
	return x, err
}

// lineByLine tells that each line of a field is one of its values.
func lineByLine(d acts.Field) bool {
	return d.Many && d.Type == acts.Text && d.Unit == "" && len(d.Choices) == 0 && d.Word == "TEXT"
}

// headingOf is what a field is called above its input, with the unit of a bare
// figure.
func headingOf(d acts.Field) string {
	text := d.Label
	if text == "" {
		text = strings.ReplaceAll(d.Name, "-", " ")
	}
	if text != "pH" {
		text = loops.Capital(text)
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
func (f fieldForm) said() acts.Said {
	said := acts.Said{}
	for _, d := range f.fields {
		name := f.Input(d.Name)
		if isKnown(d) {
			if text := f.known(name); text != "" {
				said[d.Name] = []string{text}
			}
			continue
		}
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
			if lineByLine(d) {
				for line := range strings.Lines(text) {
					add("", line)
				}
			} else {
				add(f.text(name+"-of"), text)
			}
		}
		for _, input := range slices.Sorted(maps.Keys(f.typed)) {
			if key, ok := strings.CutPrefix(input, name+":"); ok {
				add(key, f.typed.Get(input))
			}
		}
	}
	return said
}

// known is what the three inputs say about how a value is known: HOW=BY@DAY.
func (f fieldForm) known(name string) string {
	text := f.text(name)
	if by := f.text(name + ":by"); by != "" {
		text += "=" + by
	}
	if on := f.text(name + ":on"); on != "" {
		text += "@" + on
	}
	return text
}

// mark marks the fields that an error names; it returns an error that is not
// about input.
func (f fieldForm) mark(err error) error {
	return f.marks(err, func(field string) (string, bool) {
		_, ok := f.described(field)
		return f.Input(field), ok
	})
}

// Filled tells that one of the fields holds something or is marked, so that
// what hides them opens.
func (f fieldForm) Filled(names ...string) bool {
	return slices.ContainsFunc(names, func(name string) bool {
		return f.text(f.Input(name)) != "" || f.problems[f.Input(name)] != ""
	})
}

// Wrong lists the fields that are marked, as the page links to them.
func (f fieldForm) Wrong() []field {
	var all []field
	for _, d := range f.fields {
		if x, err := f.Field(d.Name); err == nil && x.Problem != "" {
			all = append(all, x)
		}
	}
	return all
}
