// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
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
	b.now = b.now.AddDate(0, 0, 1)
	assert.NotEqual(t, before, b.get("/register").Body.String(), "one day more is over")
}

func TestAKeptListIsReadOncePerHourAndState(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	reads, err := web.KeptReads(b.deps, b.now, b.now, b.now)
	require.NoError(t, err)
	assert.Equal(t, 1, reads)
	reads, err = web.KeptReads(b.deps, b.now, b.now.Add(time.Hour), b.now.Add(time.Hour), b.now.AddDate(0, 0, 1))
	require.NoError(t, err)
	assert.Equal(t, 3, reads, "an hour later, and a day later")
}

// No text, whatever it holds, makes two fields one.
func TestFieldsAreToldApart(t *testing.T) {
	t.Parallel()
	assert.True(t, web.SameLook("a", "b", []string{"c"}, "a", "b", []string{"c"}))
	assert.False(t, web.SameLook("a\x00b", "", nil, "a", "b\x00", nil))
	assert.False(t, web.SameLook("a", "b", []string{"c\x01false\x01d"}, "a", "b", []string{"c", "d"}))
	assert.False(t, web.SameLook("1:a", "", nil, "", "1:a", nil))
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
