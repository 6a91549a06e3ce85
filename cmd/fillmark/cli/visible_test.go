// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"

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

func TestErrorsShowWhatIsHidden(t *testing.T) {
	t.Parallel()
	code, out, errOut := runHere(t, t.TempDir(), "technician", "remove", "\x1b[2J")
	assert.NotZero(t, code)
	assert.Empty(t, out)
	assert.NotContains(t, errOut, "\x1b")
}
