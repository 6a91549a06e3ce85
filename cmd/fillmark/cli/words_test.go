// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
)

// whatever are the words that take whatever a record is called or stands in:
// their meaning is the word's own, not the help's.
func whatever() []string { return strings.Fields("day kind name note sort why") }

// One word means one thing: a flag takes the same kind of value, in the same
// unit, wherever it stands, and its help speaks of the same thing.
func TestWordsOfFlags(t *testing.T) {
	t.Parallel()
	kinds, helps := map[string]map[string][]string{}, map[string]map[string][]string{}
	note := func(in map[string]map[string][]string, word, what, where string) {
		if in[word] == nil {
			in[word] = map[string][]string{}
		}
		in[word][what] = append(in[word][what], where)
	}
	var look func(*cobra.Command)
	look = func(cmd *cobra.Command) {
		cmd.LocalNonPersistentFlags().VisitAll(func(f *pflag.Flag) {
			if f.Hidden || f.Name == "help" {
				return
			}
			note(helps, f.Name, f.Usage, cmd.CommandPath())
			if cmd.Name() != "list" || kindOf(f) != "text" { // a list takes the text of what it is narrowed by
				note(kinds, f.Name, kindOf(f), cmd.CommandPath())
			}
		})
		for _, sub := range cmd.Commands() {
			look(sub)
		}
	}
	look((&app{}).rootCommand())
	for _, word := range slices.Sorted(maps.Keys(helps)) {
		assert.LessOrEqual(t, len(kinds[word]), 1, "--%s takes several kinds of value: %v", word, kinds[word])
		if !slices.Contains(whatever(), word) {
			assert.NotEmpty(t, sharedWords(slices.Collect(maps.Keys(helps[word]))), "the helps of --%s speak of several things: %v", word, helps[word])
		}
	}
	for word, want := range map[string]string{"wall": "temperature", "gap": "volume", "room": "temperature", "holds": "volume", "sealed": "bool"} {
		assert.Equal(t, []string{want}, slices.Collect(maps.Keys(kinds[word])), word)
	}
	assert.NotContains(t, kinds, "protect")
}

// sharedWords are the words that stand in every text and say what it is about.
func sharedWords(texts []string) []string {
	words := func(text string) []string {
		all := regexp.MustCompile(`[\pL%-]{2,}`).FindAllString(strings.ToLower(text), -1)
		return slices.DeleteFunc(all, func(w string) bool {
			return slices.Contains(strings.Fields("an and as at be by default for how in is it its nd no of on only or repeat says such that the this those to unless unknown was what where with yes"), w)
		})
	}
	shared := words(texts[0])
	for _, text := range texts[1:] {
		here := words(text)
		shared = slices.DeleteFunc(shared, func(w string) bool { return !slices.Contains(here, w) })
	}
	return shared
}

// kindOf is the kind of value that a flag takes; words that say what a text or
// a number is about count as one kind.
func kindOf(f *pflag.Flag) string {
	kind := strings.ToLower(f.Value.Type())
	switch kind {
	case "string", "stringarray", "text":
		return "text"
	case "uint64", "number":
		return "number"
	}
	return kind
}
