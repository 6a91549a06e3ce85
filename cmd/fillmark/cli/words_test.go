// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
)

// unsettled are words that still stand for two things: each is a fault to be
// cleared, and one that is cleared has to leave the list.
func unsettled() []string {
	return strings.Fields("by cause coolant instrument outer radiator reach residue step tag to uncertainty volume with")
}

// One word means one thing: a flag takes the same kind of value, in the same
// unit, wherever it stands.
func TestWordsOfFlags(t *testing.T) {
	t.Parallel()
	kinds := map[string]map[string][]string{}
	var look func(*cobra.Command)
	look = func(cmd *cobra.Command) {
		cmd.LocalNonPersistentFlags().VisitAll(func(f *pflag.Flag) {
			if f.Hidden || f.Name == "help" || cmd.Name() == "list" && kindOf(f) == "text" {
				return // a list takes the text of what it is narrowed by
			}
			if kinds[f.Name] == nil {
				kinds[f.Name] = map[string][]string{}
			}
			kind := kindOf(f)
			kinds[f.Name][kind] = append(kinds[f.Name][kind], cmd.CommandPath())
		})
		for _, sub := range cmd.Commands() {
			look(sub)
		}
	}
	look((&app{}).rootCommand())
	var double []string
	for _, word := range slices.Sorted(maps.Keys(kinds)) {
		if len(kinds[word]) > 1 {
			double = append(double, word)
			if !slices.Contains(unsettled(), word) {
				t.Errorf("--%s means several things: %v", word, kinds[word])
			}
		}
	}
	for _, word := range unsettled() {
		assert.Contains(t, double, word, "it is settled: take it from the list")
	}
	for word, want := range map[string]string{"wall": "temperature", "gap": "volume", "room": "temperature", "holds": "volume", "sealed": "bool"} {
		assert.Equal(t, []string{want}, slices.Collect(maps.Keys(kinds[word])), word)
	}
	assert.NotContains(t, kinds, "protect")
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
