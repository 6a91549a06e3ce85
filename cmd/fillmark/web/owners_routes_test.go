// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/signin"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/notify/links"
)

// wrongTokens are tokens for a route of owners that open nothing, or nothing of
// the owner's.
func (b *bench) wrongTokens(pattern string, owner, other loops.Owner) map[string]string {
	purpose, otherwise := links.Owner, links.Stop
	if strings.Contains(pattern, "/stop/") {
		purpose, otherwise = otherwise, purpose
	}
	if strings.Contains(pattern, "calendar") {
		purpose = links.Calendar
	}
	good := b.links.Sign(purpose, owner, b.now.AddDate(0, 1, 0))
	last := "A"
	if strings.HasSuffix(good, last) {
		last = "B"
	}
	ended := owner
	ended.LinkEpoch++
	foreign, err := links.New([]byte(strings.Repeat("k", 32)))
	require.NoError(b, err)
	return map[string]string{
		"none":             "-",
		"made up":          strings.Repeat("A", len(good)),
		"changed":          good[:len(good)-1] + last,
		"cut off":          good[:len(good)-2],
		"expired":          b.links.Sign(purpose, owner, b.now.Add(-time.Second)),
		"of another kind":  b.links.Sign(otherwise, owner, b.now.AddDate(0, 1, 0)),
		"closed":           b.links.Sign(purpose, ended, b.now.AddDate(0, 1, 0)),
		"another workshop": foreign.Sign(purpose, owner, b.now.AddDate(0, 1, 0)),
		"of nobody":        b.links.Sign(purpose, loops.Owner{ID: 999}, b.now.AddDate(0, 1, 0)),
		"another's":        b.links.Sign(purpose, other, b.now.AddDate(0, 1, 0)),
	}
}

// Every route that a secret in its path opens refuses every other secret, tells
// nothing and stores nothing. The routes come from the program's own table, so
// that a new one is asked too.
func TestEverySecretIsAskedFor(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	other := b.register(machine{owner: loops.Owner{Name: "Cleo Moss"}, name: "hers", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200}).Owner
	b.technician("Bo")
	before := b.bytesOnDisk()
	seen := 0
	for _, pattern := range web.Patterns() {
		method, path, _ := strings.Cut(pattern, " ")
		switch {
		case strings.Contains(path, "{token}"):
			for name, token := range b.wrongTokens(pattern, file.Owner, other) {
				seen++
				w := b.ask(method, strings.ReplaceAll(path, "{token}", token))
				assert.NotContains(t, w.Body.String(), "Ana Fern", "%s, %s", pattern, name)
				assert.NotContains(t, w.Body.String(), "the grey tower", "%s, %s", pattern, name)
				if name != "another's" {
					assert.Equal(t, http.StatusNotFound, w.Code, "%s, %s", pattern, name)
				}
			}
		case strings.Contains(path, "{secret}"):
			for name, secret := range b.wrongSecrets() {
				seen++
				w := b.ask(method, strings.ReplaceAll(path, "{secret}", secret))
				assert.Equal(t, http.StatusNotFound, w.Code, "%s, %s", pattern, name)
				assert.Empty(t, w.Result().Cookies(), "%s, %s", pattern, name)
			}
		}
		b.now = b.now.Add(time.Hour) // for those who hold tries back
	}
	assert.Greater(t, seen, 50)
	assert.Equal(t, before, b.bytesOnDisk())
}

// ask sends a request with a form that means nothing.
func (b *bench) ask(method, path string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, "http://127.0.0.1"+path, strings.NewReader(url.Values{"words": {"x"}, "password": {"a new one that is long"}}.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return b.do(r)
}

// wrongSecrets are secrets of links that set a password or start the bench.
func (b *bench) wrongSecrets() map[string]string {
	return map[string]string{"made up": strings.Repeat("A", 43), "short": "A", "odd": "%00", "long": strings.Repeat("A", 2000)}
}

// A link that sets a password works once, and not after its hour.
func TestPasswordLinksEnd(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.technician("Bo")
	at := signin.Stamp{At: b.now, By: "local:test"}
	secret, err := b.gate.Link("Bo", at)
	require.NoError(t, err)
	assert.Equal(t, http.StatusOK, b.get("/password/"+secret).Code)
	b.now = b.now.Add(48 * time.Hour)
	assert.Equal(t, http.StatusNotFound, b.get("/password/"+secret).Code)
}
