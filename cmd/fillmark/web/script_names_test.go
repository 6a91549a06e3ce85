// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// namesOf are the names that a script gives at its top, which all scripts of a page
// share.
func namesOf(script string) []string {
	var names []string
	for _, found := range regexp.MustCompile(`(?m)^(?:const|let|(?:async )?function) (\w+)`).FindAllStringSubmatch(script, -1) {
		names = append(names, found[1])
	}
	return names
}

// A second script that gives a name again does not run at all.
func TestNoTwoScriptsOfAPageGiveOneName(t *testing.T) {
	t.Parallel()
	assert.Equal(t, []string{"due", "send", "says"}, namesOf("const due = 1;\nasync function send(x) {\n  let inner;\n}\nfunction says() {}\n"))
	read := func(name string) []string {
		text, err := os.ReadFile("static/" + name)
		require.NoError(t, err)
		return namesOf(string(text))
	}
	all := read("fillmark.js")
	require.Greater(t, len(all), 20)
	for _, name := range []string{"kept.js", "scan.js"} {
		for _, given := range read(name) {
			assert.NotContains(t, all, given, name)
		}
	}
}
