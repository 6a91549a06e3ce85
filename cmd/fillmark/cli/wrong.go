// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/loops"
)

// What is typed wrong is answered in words of our own: the flag or the file, what
// was given, and what would be right. Libraries speak of arguments, parsing and
// system calls.

// flagError turns pflag's words into a usage error.
func flagError(cmd *cobra.Command, err error) error {
	var (
		unknown *pflag.NotExistError
		bare    *pflag.ValueRequiredError
		invalid *pflag.InvalidValueError
	)
	switch {
	case errors.As(err, &unknown):
		return &usageError{unknownFlag(cmd, unknown)}
	case errors.As(err, &bare):
		return &usageError{fmt.Errorf("--%s: its value is missing: %s", bare.GetFlag().Name, plainUsage(bare.GetFlag()))}
	case errors.As(err, &invalid):
		return &usageError{wrongValue(invalid)}
	}
	return &usageError{err}
}

// plainUsage is what a flag is for, without the marks of its value's name.
func plainUsage(flag *pflag.Flag) string {
	_, usage := pflag.UnquoteUsage(flag)
	return usage
}

// unknownFlag names the command that has no such flag, and what is spelled like it.
func unknownFlag(cmd *cobra.Command, unknown *pflag.NotExistError) error {
	if letters := unknown.GetSpecifiedShortnames(); letters != "" {
		return fmt.Errorf("-%s: no such flag; they are typed in full, such as --json, and values below zero as --flag=-5C", letters)
	}
	name := unknown.GetSpecifiedName()
	named := &cobra.Command{SuggestionsMinimumDistance: 2}
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		named.AddCommand(&cobra.Command{Use: f.Name, Hidden: f.Hidden, Run: func(*cobra.Command, []string) {}})
	})
	hint := cmd.CommandPath() + " --help lists them"
	if near := named.SuggestionsFor(name); len(near) > 0 {
		hint = "is it --" + strings.Join(near, " or --") + "?"
	}
	return fmt.Errorf("unknown flag --%s of %q; %s", name, cmd.CommandPath(), hint)
}

// wrongValue names the flag as it was typed.
func wrongValue(invalid *pflag.InvalidValueError) error {
	flag := invalid.GetFlag()
	var typed *loops.InvalidError
	var number *strconv.NumError
	switch {
	case errors.As(invalid, &typed):
		return chemistry.InField(typed, "--"+flag.Name)
	case errors.As(invalid, &number):
		right := "a whole number"
		switch flag.Value.Type() {
		case "float64":
			right = "a number"
		case "bool":
			right = "say the flag alone for yes, or =true or =false"
		}
		return &loops.InvalidError{Field: "--" + flag.Name, Value: number.Num, Reason: right}
	}
	return fmt.Errorf("--%s: %w", flag.Name, errors.Unwrap(invalid))
}

// asTyped names the flag where an error is about the field that it says: the one
// that was typed, where the field was said in the flag of another.
func asTyped(cmd *cobra.Command, err error) error {
	if several, ok := err.(interface{ Unwrap() []error }); ok && err.Error() == errors.Join(several.Unwrap()...).Error() {
		return loops.MapFaults(err, func(err error) error { return asTyped(cmd, err) })
	}
	var invalid *loops.InvalidError
	if !errors.As(err, &invalid) || err.Error() != invalid.Error() {
		return err
	}
	var elsewhere error
	cmd.Flags().VisitAll(func(flag *pflag.Flag) {
		if said, ok := flag.Value.(interface{ typed(string) (string, bool) }); ok {
			if text, ok := said.typed(strings.TrimPrefix(invalid.Field, "--")); ok {
				elsewhere = &loops.InvalidError{Field: "--" + flag.Name, Value: text, Reason: invalid.Reason}
			}
		}
	})
	if elsewhere != nil {
		return elsewhere
	}
	if flag := cmd.Flags().Lookup(invalid.Field); flag != nil && flag.Changed {
		return chemistry.InField(invalid, "--"+flag.Name)
	}
	return err
}

// errorLines are the lines of an error: joined ones have a line each, and what
// the system says of a file is said in plain words.
func errorLines(err error) []string {
	text := err.Error()
	var file *fs.PathError
	if errors.As(err, &file) {
		words := file.Err.Error()
		switch {
		case errors.Is(file, fs.ErrNotExist):
			words = "there is no such file or folder"
		case errors.Is(file, fs.ErrPermission):
			words = "permission is missing"
		}
		text = strings.Replace(text, file.Error(), file.Path+": "+words, 1)
	}
	return strings.Split(text, "\n")
}
