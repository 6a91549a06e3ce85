// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"maps"
	"math"
	"net/http"
	"net/http/httptest"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/testdata/peer"
)

// How often a page asks the database hardly depends on how many loops it shows. What
// is asked for the first time on a line costs one more, so the best of some looks
// counts.
func TestPagesAskTheDatabaseAFewTimes(t *testing.T) {
	t.Parallel()
	line := newBenchLine(t, peer.StartPostgres(t))
	c := benchOn(t, "postgres:///postgres?user=bench&host="+line.folder)
	c.OpenBench, c.Listen = true, "127.0.0.1:8377"
	h := opened(t, c, testNow)
	first := firstLoad(t, h, testNow())
	tags := map[loops.Tag]bool{first.Loop.Tag: true}
	loop := "/loops/" + string(first.Loop.Tag)
	asks := func(page string) int64 {
		fewest := int64(math.MaxInt64) // a line more, where the last one is still busy, asks for all for the first time
		for range 6 {
			before := line.asked.Load()
			r := httptest.NewRequest(http.MethodGet, "http://"+c.Listen+page, nil)
			r.RemoteAddr = "127.0.0.1:1"
			w := httptest.NewRecorder()
			h.Handler.ServeHTTP(w, r)
			require.Equal(t, http.StatusOK, w.Code, page)
			fewest = min(fewest, line.asked.Load()-before)
		}
		return fewest
	}
	most := map[string]int64{ // as they were counted, and one
		"/": 17, "/day": 11, "/loops": 6, "/loops?sort=owner": 8, "/register": 10, "/owners": 6, "/owners/1": 11, "/openings": 18, "/outbox": 4, "/shelf": 6,
		loop: 8, loop + "/label": 7, loop + "/refill": 9, loop + "/handover": 7,
		"/topup": 3, "/doctor": 13, "/settings": 2, "/intake": 2, "/scan": 2, "/more": 2,
	}
	for _, more := range []int{60, 240} {
		require.NoError(t, h.Store.Commit(copies(t, first, testNow(), len(tags), more, tags)))
		for _, page := range slices.Sorted(maps.Keys(most)) {
			n := asks(page)
			t.Logf("%3d loops: %-28s %d", len(tags), page, n)
			assert.LessOrEqual(t, n, most[page], "%s with %d loops", page, len(tags))
		}
	}
}
