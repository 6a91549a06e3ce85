// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
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
	flags *pflag.FlagSet
	// apart takes a text apart: what is the flag's own, and that of each other.
	apart func(text string) (own string, others [][2]string)
}

// Set gives each its own. Where nothing is left for the flag itself it says
// nothing: an edit may change how sure a value is and leave the value.
func (j *joined) Set(text string) error {
	own, others := j.apart(text)
	for _, other := range others {
		if err := j.flags.Set(other[0], other[1]); err != nil {
			return err
		}
	}
	if strings.TrimSpace(own) == "" && len(others) > 0 {
		return nil
	}
	return j.Value.Set(own)
}

// join lets what others take be typed in a flag, and says so in its help.
func join(flags *pflag.FlagSet, name, help string, others []string, apart func(string) (string, [][2]string)) {
	flag := flags.Lookup(name)
	flag.Value = &joined{Value: flag.Value, flags: flags, apart: apart}
	flag.Usage += "; " + help
	for _, other := range others {
		flags.Lookup(other).Hidden = true
	}
}

// sure lets a flag take 35%±1%, also typed +- or +/-: how sure its value is.
func sure(flags *pflag.FlagSet, name, uncertainty string) {
	join(flags, name, "±… behind it says how sure that is (k = 2)", []string{uncertainty}, func(text string) (string, [][2]string) {
		for _, sign := range []string{"±", "+/-", "+-"} {
			if own, off, ok := strings.Cut(text, sign); ok {
				return strings.TrimSpace(own), [][2]string{{uncertainty, strings.TrimSpace(off)}}
			}
		}
		return text, nil
	})
}

// behind lets a flag take what others take behind colons, in their order; one
// between two colons may be empty.
func behind(flags *pflag.FlagSet, name, help string, others ...string) {
	join(flags, name, help, others, func(text string) (string, [][2]string) {
		parts := strings.SplitN(text, ":", 1+len(others))
		var said [][2]string
		for i, part := range parts[1:] {
			if part = strings.TrimSpace(part); part != "" {
				said = append(said, [2]string{others[i], part})
			}
		}
		return parts[0], said
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
	for _, f := range fields {
		if name, ok := strings.CutPrefix(f.Name, ofBefore); ok {
			names = append(names, name)
			flags.Lookup(f.Name).Hidden = true
		}
	}
	if len(names) == 0 {
		return
	}
	read := func(text string) (string, error) {
		name, value, ok := strings.Cut(text, "=")
		if !slices.Contains(names, name) {
			return "", &loops.InvalidError{Field: "before", Value: text, Reason: "a reading and its value, such as die=81C; the readings are " + strings.Join(names, ", ")}
		}
		if !ok {
			value = flags.Lookup(ofBefore + name).NoOptDefVal // steady says it by itself
		}
		return text, flags.Set(ofBefore+name, value)
	}
	flags.Var(&listFlag[string]{target: new([]string), parse: read, kind: "READING=VALUE"}, "before",
		fmt.Sprintf("a reading from before the repair, such as die=81C: %s; repeat", strings.Join(names, ", ")))
}
