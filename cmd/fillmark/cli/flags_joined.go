// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// joined is a flag in whose text others are typed as well: behind what is meant,
// how sure that is, how it is known, what a label says. Each of the others is a
// flag of its own too, unseen.
type joined struct {
	pflag.Value
	name  string
	parts map[string]*part
	// apart takes a text apart: what is the flag's own, and that of each other.
	apart func(text string) (own string, others [][2]string, err error)
}

// Set gives each its own. Where nothing is left for the flag itself it says
// nothing: an edit may change how sure a value is and leave the value.
func (j *joined) Set(text string) error {
	own, others, err := j.apart(text)
	if err != nil {
		return err
	}
	for _, other := range others {
		if err := j.parts[other[0]].within(j.name, text, other[1]); err != nil {
			return err
		}
	}
	if strings.TrimSpace(own) == "" && len(others) > 0 {
		return nil
	}
	return j.Value.Set(own)
}

// part is the value of a flag that may be typed in another one instead. Typed in
// both, the two would say two things, and the last one would win unseen.
type part struct {
	pflag.Value
	flags *pflag.FlagSet
	name  string
	// in is the flag that it was typed in, empty before; text what was typed there.
	in, text string
	joining  bool
}

// aPart takes a flag out of the help.
func aPart(flags *pflag.FlagSet, name string) *part {
	flag := flags.Lookup(name)
	p := &part{Value: flag.Value, flags: flags, name: name}
	flag.Value, flag.Hidden = p, true
	return p
}

// Set takes what is typed in the flag itself.
func (p *part) Set(text string) error {
	if p.joining {
		return p.Value.Set(text)
	}
	before := p.in
	p.in, p.text = p.name, text
	if before != "" && before != p.name {
		return &loops.InvalidError{Field: p.name, Value: text, Reason: "said once: --" + before + " says it too"}
	}
	return p.Value.Set(text)
}

// within takes what is typed in the text of another flag; an error is about that.
func (p *part) within(in, whole, text string) error {
	if p.in == p.name {
		return &loops.InvalidError{Field: in, Value: whole, Reason: "said once: --" + p.name + " says it too"}
	}
	p.in, p.text, p.joining = in, whole, true
	err := p.flags.Set(p.name, text)
	p.joining = false
	if invalid, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
		err = errors.Unwrap(invalid)
	}
	if invalid, ok := errors.AsType[*loops.InvalidError](err); ok {
		return &loops.InvalidError{Field: in, Value: whole, Reason: invalid.Reason}
	}
	return err
}

// join lets what others take be typed in a flag, and says so in its help.
func join(flags *pflag.FlagSet, name, help string, others []string, apart func(string) (string, [][2]string, error)) {
	flag := flags.Lookup(name)
	j := &joined{Value: flag.Value, name: name, apart: apart, parts: map[string]*part{}}
	for _, other := range others {
		j.parts[other] = aPart(flags, other)
	}
	flag.Value = j
	flag.Usage += "; " + help
}

// sure lets a flag take 35%±1%, also typed +- or +/-: how sure its value is.
func sure(flags *pflag.FlagSet, name, uncertainty string) {
	join(flags, name, "±… behind it says how sure that is (k = 2)", []string{uncertainty}, func(text string) (string, [][2]string, error) {
		for _, sign := range []string{"±", "+/-", "+-"} {
			own, off, ok := strings.Cut(text, sign)
			if !ok {
				continue
			}
			if strings.TrimSpace(off) == "" {
				return "", nil, &loops.InvalidError{Field: name, Value: text, Reason: "how sure it is behind the " + sign + ", or nothing of it"}
			}
			return strings.TrimSpace(own), [][2]string{{uncertainty, strings.TrimSpace(off)}}, nil
		}
		return text, nil, nil
	})
}

// behind lets a flag take what others take behind colons, in their order; one
// between two colons may be empty.
func behind(flags *pflag.FlagSet, name, help string, others ...string) {
	join(flags, name, help, others, func(text string) (string, [][2]string, error) {
		parts := strings.SplitN(text, ":", 1+len(others))
		var said [][2]string
		for i, part := range parts[1:] {
			part = strings.TrimSpace(part)
			if part == "" && i == len(parts)-2 {
				return "", nil, &loops.InvalidError{Field: name, Value: text, Reason: "something behind the last colon, or no colon"}
			}
			if _, err := number("")(part); err == nil && others[i] == name+"-dose" {
				right := fmt.Sprintf("a dose with its unit, such as 2ml/l; months stand behind two colons: %s::%s", parts[0], part)
				return "", nil, &loops.InvalidError{Field: name, Value: text, Reason: right}
			}
			if part != "" {
				said = append(said, [2]string{others[i], part})
			}
		}
		return parts[0], said, nil
	})
}

// joinFields joins the flags of fields that are about one thing, by their names.
func joinFields(flags *pflag.FlagSet, fields []acts.Field) {
	has := func(name string) bool {
		return slices.ContainsFunc(fields, func(f acts.Field) bool { return f.Name == name })
	}
	for _, f := range fields {
		if off := f.Name + "-uncertainty"; has(off) {
			sure(flags, f.Name, off)
		}
		if known := f.Name + "-known"; has(known) {
			behind(flags, f.Name, "behind a colon how it is known", known)
		}
		if life := f.Name + "-life"; has(life) && has(f.Name+"-dose") {
			behind(flags, f.Name, "behind colons what its label says, as FAMILY:2ml/l:24:Clear B: dose, months, product", f.Name+"-dose", life, f.Name+"-product")
		}
	}
}

// ofBefore is what stands before the names of the fields that are readings before
// the repair.
const ofBefore = "before-"

// beforeFlag is one flag for all readings from before, in the place of a flag
// for each; those work unseen.
func beforeFlag(flags *pflag.FlagSet, fields []acts.Field) {
	var names []string
	parts := map[string]*part{}
	for _, f := range fields {
		if name, ok := strings.CutPrefix(f.Name, ofBefore); ok {
			names = append(names, name)
			parts[name] = aPart(flags, f.Name)
		}
	}
	if len(names) == 0 {
		return
	}
	read := func(text string) (string, error) {
		name, value, ok := strings.Cut(text, "=")
		if !ok && slices.Contains(names, name) {
			value = flags.Lookup(ofBefore + name).NoOptDefVal // steady says it by itself
		}
		if !slices.Contains(names, name) || strings.TrimSpace(value) == "" {
			return "", &loops.InvalidError{Field: "before", Value: text, Reason: "a reading and its value, such as die=81C; the readings are " + strings.Join(names, ", ")}
		}
		return text, parts[name].within("before", text, value)
	}
	flags.Var(&listFlag[string]{target: new([]string), parse: read, kind: "READING=VALUE"}, "before",
		fmt.Sprintf("a reading from before the repair, such as die=81C: %s; repeat", strings.Join(names, ", ")))
}
