// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/web"
)

// signInFrom tries to sign in from an address, with the cookies of a browser.
func (b *bench) signInFrom(peer, name, password string, cookies ...*http.Cookie) *httptest.ResponseRecorder {
	b.Helper()
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/sign-in", strings.NewReader(url.Values{"name": {name}, "password": {password}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.RemoteAddr = peer
	for _, c := range cookies {
		r.AddCookie(c)
	}
	w := httptest.NewRecorder()
	b.handler.ServeHTTP(w, r)
	return w
}

// A thousand hostile tries, from the same network and from everywhere, hold back
// nobody whose browser is known; a colleague at another one waits and gets in.
func TestHostileTriesHoldBackNoKnownBrowser(t *testing.T) {
	t.Parallel()
	waits := 0
	b := newBench(t, func(d *web.Deps) {
		d.Wait = func(context.Context, time.Duration) error { waits++; return nil }
	})
	b.technician("Bo")
	w := b.signInFrom("192.0.2.7:1", "Bo", password)
	require.Equal(t, http.StatusSeeOther, w.Code)
	var known *http.Cookie
	for _, c := range w.Result().Cookies() {
		if strings.HasSuffix(c.Name, "-known") {
			known = c
		}
	}
	require.NotNil(t, known)
	assert.True(t, known.HttpOnly)
	assert.NotContains(t, known.Value, "Bo")

	held := 0
	for i := range 1000 {
		peer := "192.0.2.7:9" // the network that the known browser is in
		if i%2 == 0 {
			peer = fmt.Sprintf("198.51.%d.%d:1", i/250, i%250)
		}
		if b.signInFrom(peer, "Bo", "wrong password here").Code == http.StatusTooManyRequests {
			held++
		}
	}
	assert.Greater(t, held, 400, "one network is held back")
	assert.Greater(t, waits, 400, "the others wait")
	was := waits
	assert.Equal(t, http.StatusSeeOther, b.signInFrom("192.0.2.7:1", "Bo", password, known).Code)
	assert.Equal(t, was, waits, "the known browser does not wait")
	assert.Equal(t, http.StatusSeeOther, b.signInFrom("203.0.113.9:1", "Bo", password).Code, "a stranger waits and is not locked out")
	assert.Equal(t, was+1, waits)

	forged := &http.Cookie{Name: known.Name, Value: "A" + known.Value[1:]}
	assert.Equal(t, http.StatusTooManyRequests, b.signInFrom("192.0.2.7:1", "Bo", password, forged).Code, "nobody makes such a cookie")
	codes := map[int]int{}
	for range 20 {
		codes[b.signInFrom("192.0.2.7:1", "Bo", "wrong password here", known).Code]++
	}
	assert.Equal(t, map[int]int{http.StatusForbidden: 9, http.StatusTooManyRequests: 11}, codes, "its own tries are counted all the same")
}

// A proxy that nobody declared makes a stranger look like this computer.
func TestUndeclaredProxiesAreRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	before := b.bytesOnDisk()
	for _, header := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "X-Real-IP"} {
		for _, path := range []string{"/", "/api/v1/export", "/loops/" + string(file.Loop.Tag), b.ownerLink(file.Owner), "/sign-in"} {
			r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1"+path, nil)
			r.Header.Set(header, "192.0.2.7")
			w := b.do(r)
			assert.Equal(t, http.StatusForbidden, w.Code, "%s %s", header, path)
			assert.NotContains(t, w.Body.String(), "Ana Fern")
			assert.Contains(t, w.Body.String(), "trusted_proxy")
		}
	}
	b.unchanged(before)
	declared := newBench(t, func(d *web.Deps) { d.TrustedProxy = netip.MustParsePrefix("127.0.0.1/32") })
	r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1/sign-in", nil)
	r.Header.Set("X-Forwarded-For", "192.0.2.7")
	assert.Equal(t, http.StatusOK, declared.do(r).Code)
}

// The bench is closed from the first second: it opens to a browser that followed
// the start link, on this computer, until somebody has a password.
func TestStartLink(t *testing.T) {
	t.Parallel()
	secret := strings.Repeat("s", 43)
	b := newBench(t, func(d *web.Deps) { d.WithoutSignIn, d.Start = false, secret })
	assert.Equal(t, "/sign-in", b.get("/").Header().Get("Location"))
	assert.Equal(t, http.StatusUnauthorized, b.get("/api/v1/export").Code)
	assert.Equal(t, http.StatusNotFound, b.get("/start/"+strings.Repeat("t", 43)).Code)
	w := b.get(web.StartPath(secret))
	require.Equal(t, http.StatusSeeOther, w.Code)
	b.cookie = w.Result().Cookies()[0].String()
	assert.Equal(t, http.StatusOK, b.get("/").Code)
	r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1/", nil)
	r.RemoteAddr = "192.0.2.7:1"
	assert.Equal(t, http.StatusSeeOther, b.do(r).Code, "from elsewhere it opens nothing")
	b.technician("Bo")
	assert.Equal(t, "/sign-in", b.get("/").Header().Get("Location"), "closed for good")

	none := newBench(t, func(d *web.Deps) { d.WithoutSignIn = false })
	assert.Equal(t, http.StatusNotFound, none.get("/start/x").Code)
	none.cookie = "fillmark-start="
	assert.Equal(t, http.StatusSeeOther, none.get("/").Code)
}
