// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"io"
	"maps"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/links"
)

const password = "copper plate wet felt"

// technician puts somebody with a password on record, which closes the bench.
func (b *bench) technician(name string) {
	b.Helper()
	_, err := b.gate.Add(name, password, signin.Stamp{At: b.now, By: "local:test"})
	require.NoError(b, err)
}

// signIn signs the technician in as the page does, and keeps the cookie.
func (b *bench) signIn(name string) *http.Cookie {
	b.Helper()
	w := b.post("/sign-in", url.Values{"name": {name}, "password": {password}})
	require.Equal(b, http.StatusSeeOther, w.Code, w.Body.String())
	cookies := w.Result().Cookies()
	require.NotEmpty(b, cookies)
	b.cookie = cookies[0].Name + "=" + cookies[0].Value
	return cookies[0]
}

// routes returns a request for every route, on real records.
func (b *bench) routes(file workshop.File) map[string]*http.Request {
	b.Helper()
	fill := strings.NewReplacer(
		"{tag}", string(file.Loop.Tag), "{id}", "1", "{table}", "owners", "{$}", "", "{name}", "bo", "{name...}", "none.css", "{act}", "flush", "{secret}", "made-up",
		"/o/{token}", b.ownerLink(file.Owner), "/stop/{token}", b.stopLink(file.Owner),
		"/log/{token}", "/log/"+b.links.Sign(links.Log, file.Owner, b.now.AddDate(0, 1, 0)),
	)
	all := map[string]*http.Request{}
	for _, pattern := range web.Patterns() {
		method, path, ok := strings.Cut(pattern, " ")
		require.True(b, ok, "%s names no method", pattern)
		path = fill.Replace(path)
		require.NotContains(b, path, "{", "the test knows no value for a part of %s", pattern)
		all[pattern] = httptest.NewRequest(method, "http://127.0.0.1"+path, nil)
	}
	return all
}

// open says by hand which routes need no sign-in: a route that is not here is
// closed, whatever the program's own list says.
func open() []string {
	return []string{
		"GET /healthz", "GET /readyz", "GET /static/{name...}", "GET /manifest.webmanifest", "GET /worker.js", "GET /not-connected",
		"GET /trust", "GET /trust/authority.crt",
		"GET /start/{secret}", "GET /sign-in", "POST /sign-in", "GET /password/{secret}", "POST /password/{secret}",
		"GET /o/{token}", "POST /o/{token}", "GET /o/{token}/calendar.ics", "GET /stop/{token}", "POST /stop/{token}",
		"GET /o/{token}/log", "POST /o/{token}/log", "POST /log/{token}/{tag}",
	}
}

func assertClosed(t *testing.T, pattern string, w *httptest.ResponseRecorder) {
	t.Helper()
	switch {
	case strings.Contains(pattern, " /api/"):
		assert.Equal(t, http.StatusUnauthorized, w.Code, pattern)
		assert.Contains(t, w.Body.String(), `"kind": "sign-in"`, pattern)
	case strings.HasPrefix(pattern, "GET "):
		assert.Equal(t, http.StatusSeeOther, w.Code, pattern)
		assert.Regexp(t, `^/sign-in(\?to=|$)`, w.Header().Get("Location"), pattern)
	default:
		assert.Equal(t, http.StatusUnauthorized, w.Code, pattern)
	}
	assert.NotContains(t, w.Body.String(), "Ana Fern", pattern)
}

func TestEveryRouteWantsASignIn(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name string
		come func(b *bench)
	}{
		{"no cookie", func(b *bench) {}},
		{"a made-up cookie", func(b *bench) { b.cookie = "fillmark=" + strings.Repeat("A", 43) }},
		{"an empty cookie", func(b *bench) { b.cookie = "fillmark=" }},
		{"an expired sign-in", func(b *bench) { b.signIn("Bo"); b.now = b.now.Add(13 * time.Hour) }},
		{"a sign-in that was ended", func(b *bench) {
			b.signIn("Bo")
			require.Equal(b, http.StatusSeeOther, b.post("/sign-out", nil).Code)
		}},
		{"a technician who was removed", func(b *bench) {
			b.signIn("Bo")
			require.NoError(b, b.gate.Remove("Bo", signin.Stamp{At: b.now, By: "local:test"}))
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newBench(t)
			file := b.ana()
			b.technician("Bo")
			b.technician("Lea")
			tt.come(b)
			seen := 0
			for pattern, r := range b.routes(file) {
				w := b.do(r)
				if slices.Contains(open(), pattern) || pattern == "GET /metrics" {
					assert.NotEqual(t, http.StatusUnauthorized, w.Code, pattern)
					assert.NotContains(t, w.Header().Get("Location"), "/sign-in", pattern)
					continue
				}
				seen++
				assertClosed(t, pattern, w)
			}
			assert.Greater(t, seen, 20)
			assert.Len(t, b.file(file.Loop.Tag).History, len(file.History), "nothing changed")
		})
	}
}

func TestWithoutTechniciansOnlyThisComputerSeesTheBench(t *testing.T) {
	t.Parallel()
	proxy := func(d *web.Deps) { d.TrustedProxy = netip.MustParsePrefix("127.0.0.1/32") }
	for _, tt := range []struct {
		name    string
		peer    string
		header  http.Header
		change  func(*web.Deps)
		allowed bool
	}{
		{"this computer", "127.0.0.1:5", nil, nil, true},
		{"this computer, IPv6", "[::1]:5", nil, nil, true},
		{"another computer", "192.0.2.7:5", nil, nil, false},
		{"the proxy", "127.0.0.1:5", http.Header{"X-Forwarded-For": {"127.0.0.1, 192.0.2.7"}}, proxy, false},
		{"the proxy for this computer", "127.0.0.1:5", http.Header{"X-Forwarded-For": {"::1"}}, proxy, false},
		{"the proxy that does not tell", "127.0.0.1:5", nil, proxy, false},
		{"pages for others too", "127.0.0.1:5", nil, func(d *web.Deps) { d.WithoutSignIn = false }, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			change := tt.change
			if change == nil {
				change = func(*web.Deps) {}
			}
			b := newBench(t, change)
			file := b.ana()
			for pattern, r := range b.routes(file) {
				if slices.Contains(open(), pattern) || pattern == "GET /metrics" || !strings.HasPrefix(pattern, "GET ") {
					continue
				}
				r.RemoteAddr = tt.peer
				maps.Copy(r.Header, tt.header)
				w := b.do(r)
				if tt.allowed {
					assert.NotEqual(t, http.StatusUnauthorized, w.Code, pattern)
					assert.NotContains(t, w.Header().Get("Location"), "/sign-in", pattern)
				} else {
					assertClosed(t, pattern, w)
				}
			}
		})
	}
}

// In the clear from elsewhere, past the proxy that has the certificate.
func TestOnlyTheProxyComesInTheClear(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(d *web.Deps) { d.TrustedProxy = netip.MustParsePrefix("10.1.0.0/24"); d.WithoutSignIn = false })
	b.technician("Bo")
	b.signIn("Bo")
	for peer, status := range map[string]int{"10.1.0.9:1": http.StatusOK, "127.0.0.1:1": http.StatusOK, "192.0.2.7:1": http.StatusForbidden} {
		r := httptest.NewRequest(http.MethodGet, "http://pages.workshop.example/", nil)
		r.RemoteAddr = peer
		assert.Equal(t, status, b.do(r).Code, peer)
	}
}

func TestClientIsWhatTheDeclaredProxySays(t *testing.T) {
	t.Parallel()
	proxy := netip.MustParsePrefix("10.1.0.0/24")
	for _, tt := range []struct {
		name, peer string
		headers    []string
		want       string
		here       bool
	}{
		{"direct", "192.0.2.7:9", nil, "192.0.2.7", false},
		{"direct, and it lies", "192.0.2.7:9", []string{"10.1.0.1"}, "192.0.2.7", false},
		{"one hop", "10.1.0.9:9", []string{"192.0.2.7"}, "192.0.2.7", false},
		{"two hops, the first made up", "10.1.0.9:9", []string{"127.0.0.1, 192.0.2.7, 10.1.0.8"}, "192.0.2.7", false},
		{"two headers", "10.1.0.9:9", []string{"127.0.0.1", "192.0.2.7"}, "192.0.2.7", false},
		{"with a port", "10.1.0.9:9", []string{"[2001:db8::1]:443"}, "2001:db8::1", false},
		{"no address", "10.1.0.9:9", []string{"unknown"}, "", false},
		{"says nothing", "10.1.0.9:9", nil, "", false},
		{"loopback in IPv6's clothes", "[::ffff:127.0.0.1]:9", nil, "127.0.0.1", true},
		{"a Unix socket", "@", nil, "", false},
	} {
		r := httptest.NewRequest(http.MethodGet, "/", nil)
		r.RemoteAddr = tt.peer
		r.Header["X-Forwarded-For"] = tt.headers
		client, here := web.ClientOf(r, proxy)
		if tt.want == "" {
			assert.False(t, client.IsValid(), tt.name)
		} else {
			assert.Equal(t, tt.want, client.String(), tt.name)
		}
		assert.Equal(t, tt.here, here, tt.name)
	}
}

func TestCrossSitePostsAreRefusedEverywhere(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	b.technician("Bo")
	b.signIn("Bo")
	before := b.bytesOnDisk()
	seen := 0
	for pattern, r := range b.routes(file) {
		if strings.HasPrefix(pattern, "GET ") {
			continue
		}
		for name, headers := range map[string]map[string]string{
			"fetch metadata": {"Sec-Fetch-Site": "cross-site"},
			"a sister site":  {"Sec-Fetch-Site": "same-site"},
			"origin":         {"Origin": "https://elsewhere.example"},
			"null origin":    {"Origin": "null"},
		} {
			again := r.Clone(t.Context())
			again.Body = http.NoBody
			for k, v := range headers {
				again.Header.Set(k, v)
			}
			w := b.do(again)
			assert.Equal(t, http.StatusForbidden, w.Code, "%s, %s", pattern, name)
			assert.Contains(t, w.Body.String(), "another site", "%s, %s", pattern, name)
		}
		seen++
	}
	assert.Greater(t, seen, 10)
	assert.Equal(t, before, b.bytesOnDisk())
}

// Whatever stands in a body, the answer is a clear refusal and nothing
// changes.
func TestImpossibleBodiesAreRefusedEverywhere(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	b.technician("Bo")
	b.signIn("Bo")
	_, err := b.shop.AddContainer(stamp(0), loops.Container{Kind: loops.PremixBottle, Product: "Blue premix", Fluid: "pg", Mass: new(chemistry.MassFraction(0.4)), Left: 1})
	require.NoError(t, err)
	before := b.deeds()
	// These act on what the address says; a body means nothing to them.
	bodiless := []string{"POST /sign-out", "POST /sign-out/everywhere", "POST /api/v1/sweep",
		"POST /api/v1/technicians/{name}/link", "DELETE /api/v1/technicians/{name}", "POST /api/v1/owners/{id}/end-links"}
	// These refuse everybody here, whatever is sent.
	refusing := []string{"POST /sign-in", "POST /api/v1/first-link", "POST /api/v1/technicians", "POST /api/v1/technicians/{name}/password",
		"POST /api/v1/backup", "POST /api/v1/compact", "POST /api/v1/owners/{id}/erase"}
	// These take no JSON, however long.
	other := []string{"POST /api/v1/tables/{table}", "POST /api/v1/bounces"}
	// These take photos and logs and have bounds of their own, see below; so much is none
	// of what they take either.
	uploads := []string{"POST /api/v1/photos", "POST /openings", "POST /log/{token}/{tag}"}
	const form, document = "application/x-www-form-urlencoded", "application/json"
	seen := 0
	for pattern, route := range b.routes(file) {
		if strings.HasPrefix(pattern, "GET ") || slices.Contains(bodiless, pattern) {
			continue
		}
		seen++
		for _, tt := range []struct{ name, kind, body string }{
			{"oversized form", form, "words=" + strings.Repeat("x", 2<<20)},
			{"oversized JSON", document, `{"name":"` + strings.Repeat("x", 2<<20) + `"}`},
			{"broken form", form, "%zz=%"},
			{"broken JSON", document, `{"name":`},
			{"a list", document, `[[[[`},
			{"deep JSON", document, strings.Repeat(`{"a":`, 50_000)},
			{"two documents", document, `{}{}`},
			{"null", document, " null"},
			{"an empty list", document, `[]`},
			{"unknown field", document, `{"no_such_field":1}`},
			{"no media type", "", "name=x"},
			{"a form in Latin 1", form + "; charset=latin1", "words=caf%E9"},
			{"JSON in Latin 1", document + "; charset=ISO-8859-1", `{"name":"x"}`},
			{"multipart in Latin 1", "multipart/form-data; boundary=x; charset=latin1", "--x--"},
			{"not UTF-8", document, "{\"name\":\"\xff\xfe\"}"},
			{"broken multipart", "multipart/form-data; boundary=x", "--x\r\nnonsense"},
			{"empty", document, ""},
		} {
			r := httptest.NewRequest(route.Method, route.URL.String(), strings.NewReader(tt.body))
			r.Header.Set("Content-Type", tt.kind)
			w := b.do(r)
			isAPI := strings.Contains(pattern, " /api/")
			switch {
			case strings.HasSuffix(tt.name, "Latin 1") && !slices.Contains(refusing, pattern):
				assert.Equal(t, http.StatusUnprocessableEntity, w.Code, "%s, %s", pattern, tt.name)
			case strings.Contains(pattern, "{secret}"):
				assert.Equal(t, http.StatusNotFound, w.Code, "%s, %s", pattern, tt.name)
			case slices.Contains(refusing, pattern) && w.Code == http.StatusForbidden:
			case strings.HasPrefix(tt.name, "oversized") && isAPI == (tt.kind == document) && !slices.Contains(other, pattern) && !slices.Contains(uploads, pattern):
				assert.Equal(t, http.StatusRequestEntityTooLarge, w.Code, "%s, %s", pattern, tt.name)
			default:
				assert.Equal(t, http.StatusUnprocessableEntity, w.Code, "%s, %s: %s", pattern, tt.name, w.Body.String())
			}
			b.now = b.now.Add(time.Minute) // for those who hold tries back
		}
	}
	assert.Greater(t, seen, 8)
	assert.Equal(t, before, b.deeds())
}

// The routes that take photos read no further than their own bounds.
func TestUploadsAreBounded(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	b.technician("Bo")
	b.signIn("Bo")
	before := b.deeds()
	for _, tt := range []struct {
		path, kind string
		bound      int64
	}{
		{"/api/v1/photos", "image/jpeg", 32<<20 + 1},
		{"/openings", "multipart/form-data; boundary=x", 4*32<<20 + 1<<20},
		{"/intake", "multipart/form-data; boundary=x", 4*32<<20 + 1<<20},
		{b.ownerLink(b.file(tag).Owner), "multipart/form-data; boundary=x", 32<<20 + 1<<20},
		{"/loops/" + string(tag) + "/log", "multipart/form-data; boundary=x", 32<<20 + 1<<20},
		{"/log/" + b.links.Sign(links.Log, b.file(tag).Owner, b.now.AddDate(0, 1, 0)) + "/" + string(tag) + "?room=22", "text/csv", 32 << 20},
	} {
		beyond := http.StatusRequestEntityTooLarge
		if tt.path == "/api/v1/photos" || tt.kind == "text/csv" { // which read no further than it takes to refuse it by its size, or by its first line
			beyond = http.StatusUnprocessableEntity
		}
		for size, status := range map[int64]int{tt.bound: http.StatusUnprocessableEntity, tt.bound + 1: beyond} {
			r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+tt.path, io.LimitReader(endless{}, size))
			r.Header.Set("Content-Type", tt.kind)
			assert.Equal(t, status, b.do(r).Code, "%s with %d bytes", tt.path, size)
		}
	}
	assert.Equal(t, before, b.deeds())
}

// endless is a body of short lines without an end.
type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = "nothing\n"[i%8]
	}
	return len(p), nil
}

// deeds is what the audit has, the newest first.
func (b *bench) deeds() []loops.AuditLine {
	b.Helper()
	var all []loops.AuditLine
	for line, err := range b.store.Audit() {
		require.NoError(b, err)
		all = append(all, line)
	}
	return all
}

func TestSignInLeadsOnlyToOwnPages(t *testing.T) {
	t.Parallel()
	for to, want := range map[string]string{
		"/": "/", "/loops?q=ana": "/loops?q=ana", "": "/", "loops": "/", "//evil.example": "/", "https://evil.example/": "/",
		`/\evil.example`: "/", "/\t/evil.example": "/", "javascript:alert(1)": "/", "/%0d%0aX: y": "/%0d%0aX: y",
	} {
		assert.Equal(t, want, web.OwnPath(to), to)
	}
}

func TestSignInAndOut(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	b.technician("Bo Alder")
	w := b.get("/loops?q=ana")
	require.Equal(t, http.StatusSeeOther, w.Code)
	page := b.get(w.Header().Get("Location")).Body.String()
	assert.Contains(t, page, `name="to" value="/loops?q=ana"`)
	assert.NotContains(t, page, `href="/loops"`)

	w = b.post("/sign-in", url.Values{"name": {"Bo Alder"}, "password": {"something else entirely"}, "to": {"/loops?q=ana"}})
	assert.Equal(t, http.StatusForbidden, w.Code)
	assert.Contains(t, w.Body.String(), "wrong name or password")
	assert.NotContains(t, w.Body.String(), "something else entirely")
	assert.Empty(t, w.Result().Cookies())

	cookie := b.signIn("bo alder")
	assert.True(t, cookie.HttpOnly)
	assert.Equal(t, http.SameSiteStrictMode, cookie.SameSite)
	assert.False(t, cookie.Secure, "the pages have no https address here")
	page = b.get("/").Body.String()
	assert.Contains(t, page, `<form class="signed" method="post" action="/sign-out">`)
	assert.Contains(t, page, "Bo Alder")

	// What is done is recorded under the technician's name.
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/api/v1/loops/"+string(file.Loop.Tag)+"/acts/flush",
		strings.NewReader(`{"day":"2026-12-03"}`))
	r.Header.Set("Content-Type", "application/json")
	w = b.do(r)
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	history := b.file(file.Loop.Tag).History
	assert.Equal(t, "Bo Alder", history[len(history)-1].By)

	w = b.post("/sign-out", nil)
	assert.Equal(t, http.StatusSeeOther, w.Code)
	assert.Equal(t, -1, w.Result().Cookies()[0].MaxAge)
	assert.Equal(t, http.StatusSeeOther, b.get("/").Code, "the old cookie opens nothing")
}

func TestCookieIsSecureWithHTTPS(t *testing.T) {
	t.Parallel()
	b := newBench(t, func(d *web.Deps) { d.Secure = true })
	b.technician("Bo")
	cookie := b.signIn("Bo")
	assert.True(t, cookie.Secure)
	assert.Equal(t, "__Host-fillmark", cookie.Name)
	assert.Equal(t, "/", cookie.Path)
	assert.Empty(t, cookie.Domain)
	w := b.get("/")
	assert.Equal(t, http.StatusOK, w.Code)
	assert.NotEmpty(t, w.Header().Get("Strict-Transport-Security"))
}

func TestFirstTechnicianSetsAPasswordWithALink(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	secret, err := b.gate.Link("", signin.Stamp{At: b.now, By: "local:test"})
	require.NoError(t, err)
	path := web.PasswordPath(secret)
	assert.Contains(t, b.get(path).Body.String(), "You are the first")
	for name, form := range map[string]url.Values{
		"too short":        {"name": {"Bo"}, "password": {"short"}, "again": {"short"}},
		"two different":    {"name": {"Bo"}, "password": {password}, "again": {password + "x"}},
		"no name":          {"name": {""}, "password": {password}, "again": {password}},
		"a reserved name":  {"name": {"owner"}, "password": {password}, "again": {password}},
		"nothing was sent": {},
	} {
		w := b.post(path, form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		assert.Contains(t, w.Body.String(), "Expected: ", name)
	}
	w := b.post(path, url.Values{"name": {"Bo"}, "password": {password}, "again": {password}})
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	require.Len(t, w.Result().Cookies(), 2, "and is signed in, in a browser that is known from then on")
	assert.Equal(t, http.StatusNotFound, b.get(path).Code, "the link works once")
	assert.Equal(t, http.StatusNotFound, b.post(path, url.Values{"name": {"Eve"}, "password": {password}, "again": {password}}).Code)
	assert.Equal(t, http.StatusSeeOther, b.get("/").Code, "the bench is closed now")
	b.signIn("Bo")
	assert.Equal(t, http.StatusOK, b.get("/").Code)
}

func TestAccountChangesThePasswordAndSignsOutEverywhere(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	assert.Contains(t, b.get("/account").Body.String(), "Nobody has to sign in")
	b.technician("Bo")
	b.signIn("Bo")
	phone := b.cookie
	b.signIn("Bo")
	const newer = "radiator on the shelf"
	w := b.post("/account/password", url.Values{"present": {"wrong"}, "password": {newer}, "again": {newer}})
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "current password is wrong")
	w = b.post("/account/password", url.Values{"present": {password}, "password": {newer}, "again": {newer}})
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	b.cookie = phone
	assert.Equal(t, http.StatusSeeOther, b.get("/").Code, "the phone is signed out by it")
	kept := w.Result().Cookies()[0]
	b.cookie = kept.Name + "=" + kept.Value
	assert.Equal(t, http.StatusOK, b.get("/").Code)
	assert.Equal(t, http.StatusSeeOther, b.post("/sign-out/everywhere", nil).Code)
	assert.Equal(t, http.StatusSeeOther, b.get("/").Code)
}

// A browser left signed in lets nobody in for good.
func TestWhoMaySignInIsDecidedOnTheComputerItself(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.technician("Bo")
	b.signIn("Bo")
	routes := []struct{ method, path, body string }{
		{http.MethodPost, "/api/v1/technicians", `{"name":"Eve","password":"radiator on the shelf"}`},
		{http.MethodPost, "/api/v1/technicians/bo/link", ""},
		{http.MethodPost, "/api/v1/technicians/bo/password", `{"password":"radiator on the shelf"}`},
		{http.MethodDelete, "/api/v1/technicians/bo", ""},
	}
	request := func(method, path, body string) *http.Request {
		r := httptest.NewRequest(method, "http://127.0.0.1"+path, strings.NewReader(body))
		r.Header.Set("Content-Type", "application/json")
		return r
	}
	for _, x := range routes {
		assert.Equal(t, http.StatusForbidden, b.do(request(x.method, x.path, x.body)).Code, x.path)
	}
	assert.NotContains(t, b.get("/api/v1/technicians").Body.String(), "argon2")
	for _, x := range routes {
		r := request(x.method, x.path, x.body)
		assert.Equal(t, http.StatusOK, b.do(r.WithContext(web.WithActor(r.Context(), "local:anna"))).Code, x.path)
	}
	all, err := b.gate.Technicians()
	require.NoError(t, err)
	require.Len(t, all, 1, "Bo was removed")
	assert.Equal(t, "Eve", all[0].Name)
}

// The actor of a deed cannot be chosen by whoever sends it.
func TestHeadersDoNotMakeAnActor(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/api/v1/owners", strings.NewReader(`{"name":"Ana Fern"}`))
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("X-Remote-User", "local:root")
	require.Equal(t, http.StatusOK, b.do(r).Code)
	for line, err := range b.store.Audit() {
		require.NoError(t, err)
		assert.Equal(t, "page", line.By)
	}
}
