// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"html"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// The list is kept between requests, and never for longer than it is true.
func TestDueIsAsFreshAsTheRegister(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	overdue := func() string { return b.get("/").Body.String() }
	assert.Contains(t, overdue(), "the grey tower")
	assert.Equal(t, overdue(), overdue())
	bea := machine{owner: loops.Owner{Name: "Bea Moss"}, name: "the white cube", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200}
	b.register(bea)
	assert.Contains(t, overdue(), "the white cube", "a write is seen at once")
	b.now = b.now.AddDate(0, 0, 1)
	page := overdue()
	assert.Contains(t, page, "Fri 4 Dec 2026", "so is another day")
	assert.Contains(t, page, string(file.Loop.Tag))
}

// What one technician has seen is kept for that one alone.
func TestDueIsEachTechniciansOwn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.ana()
	for _, name := range []string{"Bo", "Cy"} {
		b.technician(name)
	}
	for _, name := range []string{"Bo", "Cy", "Bo"} {
		b.signIn(name)
		page := b.get("/").Body.String()
		assert.Contains(t, page, "<bdi>"+name+"</bdi>")
		assert.Equal(t, 1, strings.Count(page, "<bdi>Bo</bdi>")+strings.Count(page, "<bdi>Cy</bdi>"))
	}
}

func TestDueShowsABoundedNumber(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for i := range 45 {
		b.register(machine{owner: loops.Owner{Name: fmt.Sprintf("Owner %d", i)}, name: "tower", kind: loops.Desktop,
			fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	}
	list, err := b.shop.Due(b.now)
	assert.NoError(t, err)
	page := b.get("/").Body.String()
	assert.Greater(t, len(list.Overdue), 40)
	assert.Contains(t, page, fmt.Sprintf("<strong>%d</strong> overdue", len(list.Overdue)))
	assert.Contains(t, page, fmt.Sprintf("%d more;", len(list.Overdue)-40))
	groups := strings.Split(page, "<section>")
	assert.Equal(t, 40, strings.Count(groups[1], `<td class="why">`))
}

func squeeze(text string) string { return strings.Join(strings.Fields(text), " ") }

// Wherever a task stands with its day, the reason of the day stands with it.
func TestEveryScreenSaysWhyThisDay(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name    string
		daysAgo int
	}{{"overdue", 200}, {"nothing due yet", 3}} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			file := b.register(machine{owner: loops.Owner{Name: "Ana Fern", Email: "ana@garden.example"}, name: "the grey tower", kind: loops.Desktop,
				fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: tc.daysAgo})
			next := workshop.NextTasks(file.Loop.Plan)[0]
			bench, owner := schedule.Reason(next), next.Binding().ForOwner()
			require.NotEqual(t, bench, owner)
			path := "/loops/" + string(file.Loop.Tag)
			for address, why := range map[string]string{
				"/": bench, "/loops": bench, "/loops?metal=copper": bench, path: next.Binding().Text, "/owners/1": bench,
				path + "/label":    next.Due.Long() + ", by " + string(next.Binding().Kind),
				path + "/handover": owner, path + "/letter": owner, b.ownerLink(file.Owner): owner,
			} {
				page := b.get(address)
				require.Equal(t, http.StatusOK, page.Code, address)
				text := squeeze(html.UnescapeString(page.Body.String()))
				assert.Contains(t, text, next.Due.Long(), address)
				assert.Contains(t, text, strings.TrimRight(squeeze(why), "."), address)
			}
		})
	}
}
