// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"fillmark/chemistry"
)

// terminalColumns is the width that answers for people are laid out for.
const terminalColumns = 80

// printer lays out an answer for people: first line the answer, then the
// table, then reasons, then sources.
type printer struct {
	out io.Writer
	// width is how many columns a list may take; zero is as many as it needs.
	width int
}

// print writes value as one JSON document, or lets people have it in words.
func (a *app) print(value any, people func(*printer)) error {
	if !a.json {
		people(&printer{visibleWriter{a.out}, a.listWidth()})
		return nil
	}
	encoder := json.NewEncoder(escapedWriter{a.out})
	encoder.SetIndent("", "  ")
	return encoder.Encode(value)
}

func (p *printer) line(format string, args ...any) { fmt.Fprintf(p.out, format+"\n", args...) }

// paragraph prints text wrapped at the terminal's width, every line behind
// the indent and the first one behind the lead. No line begins with the unit
// or the uncertainty of a figure on the line before.
func (p *printer) paragraph(lead, indent, text string) {
	line := lead
	for _, word := range unbroken(text) {
		if utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > terminalColumns && strings.TrimSpace(line) != "" {
			fmt.Fprintln(p.out, strings.TrimRight(line, " "))
			line = indent
		}
		if line != indent && line != lead {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(p.out, strings.TrimRight(line, " "))
}

// unbroken splits text into what may stand alone on a line.
func unbroken(text string) []string {
	var words []string
	for word := range strings.FieldsSeq(text) {
		last := len(words) - 1
		if last >= 0 && (strings.HasPrefix(word, "%") || strings.HasPrefix(word, "°") || word == "±" || strings.HasSuffix(words[last], "±")) {
			words[last] += " " + word
			continue
		}
		words = append(words, word)
	}
	return words
}

// table prints a list whose figures are never cut.
func (p *printer) table(header []string, rows int, row func(int) []string) {
	whole := printer{out: p.out}
	whole.list(header, rows, row)
}

// verdict prints the word over its rule: solid for go, dashed for care,
// double for stop.
func (p *printer) verdict(v chemistry.Verdict) {
	p.line("%s", strings.ToUpper(string(v)))
	switch v {
	case chemistry.Go:
		p.line("%s", strings.Repeat("─", 24))
	case chemistry.Care:
		p.line("%s", strings.TrimRight(strings.Repeat("- ", 12), " "))
	default:
		p.line("%s", strings.Repeat("═", 24))
	}
}

func plural(n int, unit string) string {
	switch n {
	case 0:
		return "No " + unit + "s"
	case 1:
		return "1 " + unit
	}
	return fmt.Sprintf("%d %ss", n, unit)
}

// items is a list answer of the API.
type items[T any] struct {
	Items []T `json:"items"`
}

// noArgs refuses arguments with exit status 2 and the words that were too many.
func noArgs(_ *cobra.Command, args []string) error {
	if len(args) > 0 {
		return &usageError{fmt.Errorf("%q is one word too many; flags carry the values", args[0])}
	}
	return nil
}

// exactlyOne wants one argument and says what.
func exactlyOne(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return &usageError{fmt.Errorf("%d arguments given; one is right: %s", len(args), what)}
		}
		return nil
	}
}

// atMostOne takes one argument or none.
func atMostOne(what string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > 1 {
			return &usageError{fmt.Errorf("%d arguments given; at most one is right: %s", len(args), what)}
		}
		return nil
	}
}

// oneTag wants exactly one argument, a loop's tag.
func oneTag(cmd *cobra.Command, args []string) error {
	return exactlyOne("the tag on the loop's label")(cmd, args)
}

// needFlags makes flags compulsory, with a usage error that names the missing.
func needFlags(cmd *cobra.Command, names ...string) {
	cmd.PreRunE = func(cmd *cobra.Command, _ []string) error {
		for _, name := range names {
			if !cmd.Flags().Changed(name) {
				return &usageError{fmt.Errorf("--%s is missing: %s", name, plainUsage(cmd.Flags().Lookup(name)))}
			}
		}
		return nil
	}
}
