// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"html"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
)

// A letter on paper is as wide as its paper: a sentence breaks there, not where
// a mail would, and each item of a list begins its own line.
func TestALetterIsAsWideAsItsPaper(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.register(machine{owner: loops.Owner{Name: "Ana Fern", Address: "Mill Lane 3"}, name: "the grey tower", kind: loops.Desktop,
		fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	w := b.get("/loops/" + string(file.Loop.Tag) + "/letter")
	require.Equal(t, http.StatusOK, w.Code)
	page := html.UnescapeString(w.Body.String())
	long := 0
	for line := range strings.Lines(page) {
		if len(line) > notify.TextWidth+20 {
			long++
		}
		assert.NotContains(t, line, "──", "a rule is drawn, not typed")
	}
	assert.Greater(t, long, 5, "sentences stand whole")
	assert.Contains(t, page, "\n2. ", "an item begins a line")
	assert.Contains(t, page, "\n3. ", "and the next, however full the one before it was")
	assert.NotRegexp(t, `[a-z]\. 5\. `, page)
}
