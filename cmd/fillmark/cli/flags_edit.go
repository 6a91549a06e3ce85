// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// editFlags gives a command the flags that bind makes for a record, and
// returns what writes those that were typed over a record read later, leaving
// everything else as it is.
func editFlags[T any](cmd *cobra.Command, bind func(*pflag.FlagSet, *T)) func(*T) error {
	var typed []typedFlag
	template := pflag.NewFlagSet("", pflag.ContinueOnError)
	bind(template, new(T))
	template.VisitAll(func(f *pflag.Flag) {
		cmd.Flags().AddFlag(&pflag.Flag{
			Name: f.Name, Usage: f.Usage, NoOptDefVal: f.NoOptDefVal,
			Value: &laterFlag{name: f.Name, kind: f.Value.Type(), typed: &typed},
		})
	})
	return func(record *T) error {
		if len(typed) == 0 {
			return &usageError{fmt.Errorf("nothing to change: give at least one flag with its new value")}
		}
		set := pflag.NewFlagSet("", pflag.ContinueOnError)
		bind(set, record)
		for _, f := range typed {
			if err := set.Set(f.name, f.text); err != nil {
				return flagError(err)
			}
		}
		return nil
	}
}

// typedFlag is one flag as it was typed.
type typedFlag struct{ name, text string }

// laterFlag remembers what was typed, for the record that it changes.
type laterFlag struct {
	name, kind string
	typed      *[]typedFlag
}

func (f *laterFlag) Set(text string) error {
	*f.typed = append(*f.typed, typedFlag{f.name, text})
	return nil
}

func (f *laterFlag) String() string { return "" }
func (f *laterFlag) Type() string   { return f.kind }

// revisionFlag lets an edit say which revision was looked at, so that somebody
// else's later change is not overwritten.
func revisionFlag(f *pflag.FlagSet, target *uint64) {
	f.Uint64Var(target, "revision", 0, "the revision that was looked at, as show prints it; refuse if it changed since (default: the one read now)")
}

// settle puts the typed revision in the place of the one read.
func settle(read *uint64, typed uint64) {
	if typed != 0 {
		*read = typed
	}
}

// oneNumber wants exactly one argument, a record's number.
func oneNumber[ID ~uint64](what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return &usageError{fmt.Errorf("%d arguments given; one is right: the number of the %s", len(args), what)}
		}
		var id ID
		if n, err := fmt.Sscanf(args[0]+" ", "%d ", &id); n != 1 || err != nil || fmt.Sprint(id) != args[0] || id == 0 {
			return &usageError{fmt.Errorf("%q: the number of the %s is right, such as 3", args[0], what)}
		}
		return nil
	}
}
