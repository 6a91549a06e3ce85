// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/testdata/peer"
)

// mostAsked is how often a page may ask the database, sign-in and all.
const mostAsked = 5

// No page asks the database more than a few times, for whoever is signed in, of a
// person with several machines, right after a write, however many loops there are;
// but for a few that say why, and those that read all there is.
func TestPagesAskTheDatabaseAFewTimes(t *testing.T) {
	t.Parallel()
	line := newBenchLine(t, peer.StartPostgres(t))
	c := benchOn(t, "postgres:///postgres?user=bench&host="+line.folder)
	c.Listen = "127.0.0.1:8377"
	h := opened(t, c, testNow)
	first := firstLoad(t, h, testNow())
	pages, cookie := manyThings(t, h, c)
	known := map[string]bool{}
	for _, page := range pages {
		known["GET "+page.pattern] = true
	}
	for _, pattern := range getRoutes(t) {
		assert.True(t, known[pattern], "nobody looks at %s", pattern)
	}
	noted := 0
	asks := func(page asked) int64 {
		fewest := int64(math.MaxInt64) // a line more, where the last one is still busy, asks for all for the first time
		for looks := range 6 {
			if looks > 0 && (page.all || fewest <= cmp.Or(page.most, mostAsked)) {
				break
			}
			noted++
			_, err := h.Workshop.Act(workshop.Stamp{At: testNow(), By: "local:test"}, first.Loop.Tag, &acts.Note{Doing: acts.Doing{Note: fmt.Sprint("write ", noted)}})
			require.NoError(t, err)
			r := httptest.NewRequest(http.MethodGet, "http://"+c.Listen+page.address, nil)
			r.RemoteAddr = "127.0.0.1:1"
			r.Header.Set("Cookie", cookie)
			w := httptest.NewRecorder()
			before := line.asked.Load()
			h.Handler.ServeHTTP(w, r)
			require.Equal(t, cmp.Or(page.status, http.StatusOK), w.Code, "%s %.300s", page.address, w.Body)
			fewest = min(fewest, line.asked.Load()-before)
		}
		return fewest
	}
	tags := map[loops.Tag]bool{first.Loop.Tag: true}
	for _, more := range []int{60, 240} {
		require.NoError(t, h.Store.Commit(copies(t, first, testNow(), 100+len(tags), more, tags)))
		for _, page := range pages {
			n := asks(page)
			t.Logf("%3d loops: %2d %s", len(tags), n, page.address)
			if !page.all {
				assert.LessOrEqual(t, n, cmp.Or(page.most, mostAsked), "%s with %d loops; %s", page.address, len(tags), page.why)
			}
		}
	}
}

// getRoutes are the patterns of all that can be looked at, as the routes are written
// down.
func getRoutes(t *testing.T) (all []string) {
	t.Helper()
	files, err := filepath.Glob("../web/routes*.go")
	require.NoError(t, err)
	for _, file := range files {
		text, err := os.ReadFile(file)
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`"(GET /[^"]*)"`).FindAllStringSubmatch(string(text), -1) {
			all = append(all, m[1])
		}
	}
	require.Greater(t, len(all), 80)
	return all
}
