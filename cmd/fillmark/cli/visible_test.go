// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func TestHiddenCharactersAreShown(t *testing.T) {
	t.Parallel()
	for given, want := range map[string]string{
		"plain −4 °C\tand\nmore": "plain −4 °C\tand\nmore",
		"\x1b[2Jgone":            "<U+001B>[2Jgone",
		"gpj\u202e.exe":          "gpj<U+202E>.exe",
		"\u2066a\u2069\r\u0085":  "<U+2066>a<U+2069><U+000D><U+0085>",
	} {
		assert.Equal(t, want, loops.Visible(given))
		var out bytes.Buffer
		n, err := visibleWriter{&out}.Write([]byte(given))
		assert.NoError(t, err)
		assert.Equal(t, len(given), n)
		assert.Equal(t, want, out.String())
	}
}

// JSON says the same to a program, and moves no cursor where it is printed.
func TestJSONEscapesWhatIsHidden(t *testing.T) {
	t.Parallel()
	const given = "no such user\x1b[2J\u009b2J\x7f \u202e\u2066 −4 °C 🧪"
	var out bytes.Buffer
	require.NoError(t, (&app{out: &out, json: true}).print(map[string]string{"last_error": given}, nil))
	for _, hidden := range []string{"\x1b", "\u009b", "\x7f", "\u202e", "\u2066"} {
		assert.NotContains(t, out.String(), hidden)
	}
	assert.Contains(t, out.String(), "−4 °C 🧪")
	var read map[string]string
	require.NoError(t, json.Unmarshal(out.Bytes(), &read))
	assert.Equal(t, given, read["last_error"])
}

func TestErrorsShowWhatIsHidden(t *testing.T) {
	t.Parallel()
	code, out, errOut := runHere(t, t.TempDir(), "technician", "remove", "\x1b[2J")
	assert.NotZero(t, code)
	assert.Empty(t, out)
	assert.NotContains(t, errOut, "\x1b")
}
