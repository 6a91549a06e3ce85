// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// What belongs together is typed together: behind a value how sure it is, how it
// is known, what its label says.

const surely = "; ±… behind it says how sure that is (k = 2)"

// cutSure takes 35%±1% apart, also typed +- or +/-.
func cutSure(text string) (own, off string, err error) {
	for _, sign := range []string{"±", "+/-", "+-"} {
		if own, off, ok := strings.Cut(text, sign); ok {
			own, off = strings.TrimSpace(own), strings.TrimSpace(off)
			if off == "" {
				err = &loops.InvalidError{Field: "value", Value: text, Reason: "how sure it is behind the " + sign + ", or nothing of it"}
			}
			return own, off, err
		}
	}
	return text, "", nil
}

// unsureFlag is a flag that says as well how sure its value is.
type unsureFlag struct {
	pflag.Value
	off func(text string) error
}

// unsure lets a flag say how sure its value is: that is written to target.
func unsure[T any](flags *pflag.FlagSet, name string, target *T, parse func(string) (T, error)) {
	flag := flags.Lookup(name)
	flag.Usage += surely
	flag.Value = unsureFlag{flag.Value, func(text string) (err error) {
		*target, err = parse(text)
		return err
	}}
}

func (f unsureFlag) Set(text string) error {
	own, off, err := cutSure(text)
	if err == nil && off != "" {
		err = f.off(off)
	}
	if err == nil && (own != "" || off == "") { // how sure alone leaves the value
		err = f.Value.Set(own)
	}
	if invalid, ok := errors.AsType[*loops.InvalidError](err); ok {
		return &loops.InvalidError{Field: invalid.Field, Value: text, Reason: invalid.Reason}
	}
	return err
}

// texts are what was typed where fields were said in the flag of another, by
// their names.
type texts map[string]string

func (t texts) typed(field string) (text string, ok bool) {
	text, ok = t[field]
	return text, ok
}

// saidFlag keeps what is typed in a flag as what is said of a field, and of
// those that are typed behind it; the fields read it.
type saidFlag struct {
	texts
	field acts.Field
	said  acts.Said
	// off is the field that says how sure the value is, empty for none; behind are
	// those that stand behind colons, in their order.
	off    string
	behind []string
}

// Set says each its own. Where nothing is left for the field itself nothing is
// said of it: an edit may change how sure a value is and leave the value.
func (f *saidFlag) Set(text string) error {
	parts := strings.SplitN(text, ":", 1+len(f.behind))
	own, others := parts[0], map[string]string{}
	for i, part := range parts[1:] {
		part = strings.TrimSpace(part)
		if part == "" && i == len(parts)-2 {
			return &loops.InvalidError{Field: f.field.Name, Value: text, Reason: "something behind the last colon, or no colon"}
		}
		if _, err := number("")(part); err == nil && f.behind[i] == f.field.Name+"-dose" {
			right := fmt.Sprintf("a dose with its unit, such as 2ml/l; months stand behind two colons: %s::%s", own, part)
			return &loops.InvalidError{Field: f.field.Name, Value: text, Reason: right}
		}
		others[f.behind[i]] = part
	}
	if f.off != "" {
		var err error
		if own, others[f.off], err = cutSure(own); err != nil {
			return err
		}
	}
	again := slices.Collect(maps.Keys(others))
	if strings.TrimSpace(own) != "" { // a value that is typed again says all of it again
		again = append(again, f.behind...)
	}
	for _, name := range again {
		delete(f.said, name)
		delete(f.texts, name)
	}
	said := false
	for name, other := range others {
		if other != "" {
			f.said[name], f.texts[name], said = []string{other}, text, true
		}
	}
	if said && strings.TrimSpace(own) == "" {
		return nil
	}
	if !f.field.Many {
		f.said[f.field.Name] = nil
	}
	f.said[f.field.Name] = append(f.said[f.field.Name], own)
	return nil
}

func (f *saidFlag) String() string { return "" }

func (f *saidFlag) Type() string {
	switch {
	case plainTruth(f.field):
		return "bool"
	case f.field.Type == acts.Truth:
		return "YES/NO"
	}
	return f.field.Word
}

// ofBefore is what stands before the names of the fields that are readings before
// the repair; one flag takes them all.
const ofBefore = "before-"

type beforeFlag struct {
	texts
	fields []acts.Field
	said   acts.Said
}

func (f *beforeFlag) Set(text string) error {
	name, value, ok := strings.Cut(text, "=")
	i := slices.IndexFunc(f.fields, func(f acts.Field) bool { return f.Name == ofBefore+name })
	if !ok && i >= 0 && plainTruth(f.fields[i]) {
		value = "yes" // steady says it by itself
	}
	if i < 0 || strings.TrimSpace(value) == "" {
		return &loops.InvalidError{Field: "before", Value: text, Reason: "a reading and its value, such as die=81C; the readings are " + f.readings()}
	}
	f.said[f.fields[i].Name], f.texts[f.fields[i].Name] = []string{value}, text
	return nil
}

func (f *beforeFlag) readings() string {
	var names []string
	for _, field := range f.fields {
		names = append(names, strings.TrimPrefix(field.Name, ofBefore))
	}
	return strings.Join(names, ", ")
}

func (f *beforeFlag) String() string { return "" }
func (f *beforeFlag) Type() string   { return "READING=VALUE" }

// fieldFlags adds a flag for each field but those that are typed in the flag of
// another; what is typed goes into said.
func fieldFlags(flags *pflag.FlagSet, fields []acts.Field, said acts.Said) {
	has := func(name string) bool {
		return slices.ContainsFunc(fields, func(f acts.Field) bool { return f.Name == name })
	}
	var elsewhere []string
	before := beforeFlag{texts: texts{}, said: said}
	for _, f := range fields {
		if strings.HasPrefix(f.Name, ofBefore) {
			before.fields = append(before.fields, f)
			continue
		}
		if slices.Contains(elsewhere, f.Name) {
			continue
		}
		usage := f.Help
		if len(f.Choices) > 0 && len(f.Choices) <= 12 && f.Type == acts.Text {
			usage += " (" + strings.Join(f.Choices, ", ") + ")"
		}
		value := &saidFlag{texts: texts{}, field: f, said: said}
		if off := f.Name + "-uncertainty"; has(off) {
			value.off = off
			usage += surely
		}
		switch known, dose, life := f.Name+"-known", f.Name+"-dose", f.Name+"-life"; {
		case has(known):
			value.behind = []string{known}
			usage += "; behind a colon how it is known"
		case has(dose) && has(life):
			value.behind = []string{dose, life, f.Name + "-product"}
			usage += "; behind colons what its label says, as FAMILY:2ml/l:24:Clear B: dose, months, product"
		}
		elsewhere = append(elsewhere, append(value.behind, value.off)...)
		flag := flags.VarPF(value, f.Name, "", usage)
		if plainTruth(f) {
			flag.NoOptDefVal = "yes"
		}
		offer(flags, f.Name, f.Choices)
	}
	if len(before.fields) > 0 {
		flags.Var(&before, "before", fmt.Sprintf("a reading from before the repair, such as die=81C: %s; repeat", before.readings()))
	}
}

// plainTruth tells that a flag by itself says yes. Where nobody may know, the
// answer is typed.
func plainTruth(f acts.Field) bool { return f.Type == acts.Truth && !f.Unknown }
