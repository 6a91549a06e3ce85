// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/notify/links"
)

func TestThrottleLetsABurstThroughAndThenAPace(t *testing.T) {
	t.Parallel()
	throttle := web.NewThrottle(3, 10*time.Second)
	for range 3 {
		assert.Zero(t, throttle.Take("a", noon))
	}
	assert.InDelta(t, 10, throttle.Take("a", noon).Seconds(), 0.1)
	assert.InDelta(t, 4, throttle.Take("a", noon.Add(6*time.Second)).Seconds(), 0.1)
	assert.Zero(t, throttle.Take("b", noon), "others are not held back")
	assert.Zero(t, throttle.Take("a", noon.Add(11*time.Second)))
	assert.NotZero(t, throttle.Take("a", noon.Add(11*time.Second)))
}

func TestThrottleRemembersABoundedNumber(t *testing.T) {
	t.Parallel()
	throttle := web.NewThrottle(1, time.Hour)
	for i := range 25_000 {
		assert.Zero(t, throttle.Take(strconv.Itoa(i), noon))
	}
	assert.LessOrEqual(t, throttle.Size(), 10_000)
	assert.NotZero(t, throttle.Take("24999", noon), "the newest is still held back")
}

func TestPasswordsCannotBeTriedInSeries(t *testing.T) {
	t.Parallel()
	var waits []time.Duration
	b := newBench(t, func(d *web.Deps) {
		d.Wait = func(_ context.Context, d time.Duration) error { waits = append(waits, d); return nil }
	})
	b.technician("Bo")
	try := func(peer, name string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/sign-in", strings.NewReader(url.Values{"name": {name}, "password": {"wrong"}}.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.RemoteAddr = peer
		return b.do(r)
	}
	for i := range 10 {
		require.Equal(t, http.StatusForbidden, try(fmt.Sprintf("198.51.100.%d:1", i), "Bo").Code)
	}
	assert.Empty(t, waits)
	w := try("198.51.100.200:1", "bO")
	assert.Equal(t, http.StatusForbidden, w.Code, "one account from many addresses waits, and is not locked")
	assert.Equal(t, []time.Duration{3 * time.Second}, waits)
	for i := range 20 {
		require.Equal(t, http.StatusForbidden, try(fmt.Sprintf("[2001:db8::%x]:1", i+1), fmt.Sprintf("name %d", i)).Code)
	}
	assert.Equal(t, http.StatusTooManyRequests, try("[2001:db8::ffff]:1", "name 21").Code, "many accounts from one network")
	assert.Equal(t, http.StatusForbidden, try("[2001:db8:1::1]:1", "name 21").Code, "another network is not held back")
	b.now = b.now.Add(time.Minute)
	assert.Equal(t, http.StatusSeeOther, b.post("/sign-in", url.Values{"name": {"Bo"}, "password": {password}}).Code, "and it ends")
}

func TestOwnersLinksAreHeldBackByTokenAndByAddress(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	from := func(peer, path string) int {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil)
		r.RemoteAddr = peer
		return b.do(r).Code
	}
	for i := range 30 {
		require.Equal(t, http.StatusOK, from(fmt.Sprintf("198.51.100.%d:1", i), link))
	}
	assert.Equal(t, http.StatusTooManyRequests, from("198.51.100.99:1", link), "one link from many addresses")
	forged := func(i int) string { return fmt.Sprintf("/o/forged%d", i) }
	for i := range 120 {
		require.Equal(t, http.StatusNotFound, from("203.0.113.5:1", forged(i)))
	}
	assert.Equal(t, http.StatusTooManyRequests, from("203.0.113.5:2", forged(121)), "many links from one address")
	assert.Equal(t, http.StatusTooManyRequests, from("203.0.113.5:2", b.stopLink(file.Owner)), "the links to stop mail too")
	assert.Equal(t, http.StatusNotFound, from("203.0.113.6:2", "/o/"+strings.Repeat("x", 5000)))
	b.now = b.now.Add(5 * time.Second)
	assert.Equal(t, http.StatusOK, from("198.51.100.99:1", link))
}

// Tokens and addresses of people and of computers stay out of the log,
// whatever is asked and however it ends.
func TestLogHoldsNoTokenAndNoAddress(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	b := newBench(t, func(d *web.Deps) {
		d.Log = slog.New(slog.NewTextHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	})
	file := b.ana()
	owner, stop := b.ownerLink(file.Owner), b.stopLink(file.Owner)
	for _, path := range []string{owner, stop, owner + "x", "/o/forged-token", "/password/made-up-secret", "/loops?q=ana@garden.example", "/nowhere/ana@garden.example"} {
		for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodDelete} {
			r := httptest.NewRequest(method, "http://127.0.0.1"+path, strings.NewReader("answer=off&words=ana@garden.example"))
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			if method == http.MethodDelete {
				r.Header.Set("X-Forwarded-For", "192.0.2.77")
			}
			r.RemoteAddr = "198.51.100.23:4711"
			b.do(r)
		}
	}
	b.technician("Bo")
	b.signIn("Bo")
	b.get("/")
	b.post("/sign-in", url.Values{"name": {"Bo"}, "password": {"wrong password here"}})
	require.NotEmpty(t, log.String())
	_, secret, _ := strings.Cut(b.cookie, "=")
	_, ownerToken, _ := strings.Cut(owner, "/o/")
	_, stopToken, _ := strings.Cut(stop, "/stop/")
	for _, hidden := range []string{ownerToken, stopToken, "forged-token", "made-up-secret", secret, password, "wrong password here",
		"garden.example", "198.51.100.23", "192.0.2.77", "4711"} {
		assert.NotContains(t, log.String(), hidden)
	}
	assert.Contains(t, log.String(), `pattern="GET /o/{token}"`)
	assert.NotEmpty(t, b.links.Sign(links.Owner, loops.Owner{ID: 1}, noon))
}
