// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestKeptListsFollowTheRegisterAndTheDay(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Contains(t, b.get("/register").Body.String(), "No loop is on record yet")
	assert.Contains(t, b.get("/day").Body.String(), "<strong>0</strong> overdue")
	file := b.ana()
	assert.Contains(t, b.get("/register").Body.String(), `<tr id="`+string(file.Loop.Tag)+`">`)
	assert.Contains(t, b.get("/day").Body.String(), "<strong>1</strong> overdue")
	before := b.get("/register").Body.String()
	assert.Equal(t, before, b.get("/register").Body.String(), "as it was drawn before")
	b.now = b.now.AddDate(0, 0, 1)
	assert.NotEqual(t, before, b.get("/register").Body.String(), "one day more is over")
}

func TestADayNamesNoMoreCallsThanSomebodyMakes(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for i := range 103 {
		b.register(machine{owner: loops.Owner{Name: fmt.Sprintf("Owner %d", i), Phone: "+351 210 000 000"}, name: "the grey tower",
			kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 900})
	}
	page := b.get("/day").Body.String()
	calls, _, _ := strings.Cut(page, "and 3 more")
	assert.Equal(t, 100, strings.Count(calls[strings.Index(calls, "<h2>Call</h2>"):], "<li><bdi>"))
	assert.Contains(t, page, `and 3 more, on <a class="call" href="/">Due</a>`)
}
