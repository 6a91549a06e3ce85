// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"strings"

	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// parsedFlag is a flag whose text a parser turns into a quantity, a day, a
// fluid …; the parser's error names the value and what would be right.
type parsedFlag[T any] struct {
	target *T
	parse  func(string) (T, error)
	kind   string
	text   string
}

func (f *parsedFlag[T]) Set(text string) error {
	value, err := f.parse(text)
	if err != nil {
		return err
	}
	*f.target, f.text = value, text
	return nil
}

func (f *parsedFlag[T]) String() string { return f.text }
func (f *parsedFlag[T]) Type() string   { return f.kind }

// need adds a flag that writes to target.
func need[T any](flags *pflag.FlagSet, target *T, parse func(string) (T, error), name, kind, usage string) {
	flags.Var(&parsedFlag[T]{target: target, parse: parse, kind: kind}, name, usage)
}

// pick adds a flag that takes one of the values of a string type.
func pick[T ~string](flags *pflag.FlagSet, target *T, allowed []T, name, kind, usage string) {
	need(flags, target, choice(name, allowed), name, kind, usage)
	offer(flags, name, allowed)
}

// may adds a flag that leaves target nil where it is not given, or is "none".
func may[T any](flags *pflag.FlagSet, target **T, parse func(string) (T, error), name, kind, usage string) {
	pointer := func(text string) (*T, error) {
		if text == none {
			return nil, nil
		}
		value, err := parse(text)
		return &value, err
	}
	flags.Var(&parsedFlag[*T]{target: target, parse: pointer, kind: kind}, name, usage)
}

// alias lets another word stand for a flag, unseen.
func alias(flags *pflag.FlagSet, also, is string) {
	others := flags.GetNormalizeFunc()
	flags.SetNormalizeFunc(func(f *pflag.FlagSet, name string) pflag.NormalizedName {
		if name == also {
			name = is
		}
		return others(f, name)
	})
}

// none is what is typed for a value that there is not.
const none = "none"

// number reads a number with a unit that has no type of its own.
func number(unit string) func(string) (float64, error) {
	return func(text string) (float64, error) { return acts.ParseNumber(text, unit) }
}

// share parses a percentage of a whole, 0 to 100 %, and returns it as 0 to 1.
func share(text string) (float64, error) {
	percent, err := acts.ParseNumber(text, "%")
	if err != nil || percent < 0 || percent > 100 {
		return 0, &loops.InvalidError{Field: "value", Value: text, Reason: "a share from 0% to 100%, such as 50%"}
	}
	return percent / 100, nil
}

// listFlag collects a flag given several times; what the list held before
// goes with the first.
type listFlag[T any] struct {
	target *[]T
	parse  func(string) (T, error)
	kind   string
	texts  []string
}

func (f *listFlag[T]) Set(text string) error {
	value, err := f.parse(text)
	if err != nil {
		return err
	}
	if len(f.texts) == 0 {
		*f.target = nil
	}
	*f.target, f.texts = append(*f.target, value), append(f.texts, text)
	return nil
}

func (f *listFlag[T]) String() string { return strings.Join(f.texts, ", ") }
func (f *listFlag[T]) Type() string   { return f.kind }

// choice parses one of the values of a string type.
func choice[T ~string](field string, allowed []T) func(string) (T, error) {
	return func(text string) (T, error) {
		for _, a := range allowed {
			if strings.EqualFold(string(a), strings.TrimSpace(text)) {
				return a, nil
			}
		}
		return "", &loops.InvalidError{Field: field, Value: text, Reason: "one of: " + acts.Listed(allowed)}
	}
}

// orUnknown reads a fluid, or "unknown" for one that nobody knows.
func orUnknown(text string) (chemistry.Fluid, error) {
	if strings.EqualFold(strings.TrimSpace(text), "unknown") {
		return "", nil
	}
	return chemistry.ParseFluid(text)
}
