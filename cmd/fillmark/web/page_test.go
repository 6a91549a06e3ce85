// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"html/template"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jba/templatecheck"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

func TestEveryTemplateFitsItsStruct(t *testing.T) {
	t.Parallel()
	screens := 0
	err := web.EachScreen(func(name string, set *template.Template, data any) {
		screens++
		assert.NoError(t, templatecheck.CheckHTML(set, data), name)
	})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, screens, 6)
}

const hostile = `<script>alert(1)</script>"'><img src=x onerror=alert(2)> ` + "\u202eevil\u202c مرحبا"

func TestPagesEscapeHostileText(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	long := strings.Repeat("W", 120)
	file := b.register(machine{
		owner: loops.Owner{Name: hostile, Email: "ana@garden.example", Phone: `"><b>1`},
		name:  hostile + long, kind: loops.Desktop, fluid: chemistry.EthyleneGlycol, mass: 0.3, wall: -5, daysAgo: 200, note: hostile,
	})
	_, err := b.shop.AnswerAbout(stamp(1), file.Owner, loops.Answer{Answer: loops.SomethingOff, Words: hostile}, "")
	require.NoError(t, err)
	b.technician(`"><b onclick=x>Bo`)
	b.signIn(`"><b onclick=x>Bo`)
	for _, path := range []string{"/", "/account", "/sign-in?to=/%22%3E%3Cscript%3E", "/loops", "/loops?q=" + "%3Cscript%3Ealert(1)%3C/script%3E", "/loops/" + string(file.Loop.Tag), b.ownerLink(file.Owner), b.ownerLink(file.Owner) + "?answer=off", b.stopLink(file.Owner)} {
		w := b.get(path)
		require.Equal(t, http.StatusOK, w.Code, path)
		doc, err := html.Parse(w.Body)
		require.NoError(t, err)
		assertPlain(t, path, doc)
	}
	assert.Contains(t, b.get("/loops/"+string(file.Loop.Tag)).Body.String(), "&lt;script&gt;alert(1)&lt;/script&gt;")
}

// assertPlain holds a page to what the Content-Security-Policy allows: no
// script, no inline style, no handler, nothing from elsewhere.
func assertPlain(t *testing.T, path string, n *html.Node) {
	t.Helper()
	for n := range n.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		assert.NotContains(t, []string{"style", "iframe", "img", "object"}, n.Data, path)
		if n.Data == "script" { // ours from its file, and nothing in the page
			assert.Nil(t, n.FirstChild, path)
			assert.Condition(t, func() bool {
				return slices.ContainsFunc(n.Attr, func(a html.Attribute) bool {
					return a.Key == "src" && regexp.MustCompile(`^/static/(fillmark|kept|idb-keyval|scan)\.[0-9a-f]{16}\.js$`).MatchString(a.Val)
				})
			}, path)
		}
		for _, a := range n.Attr {
			assert.NotEqual(t, "style", a.Key, path)
			assert.False(t, strings.HasPrefix(a.Key, "on"), "%s: %s", path, a.Key)
			if a.Key == "href" || a.Key == "src" || a.Key == "action" {
				assert.Regexp(t, regexp.MustCompile(`^(/[^/]|/$|#[a-z0-9-]+$|tel:[0-9+]+$)`), a.Val, path)
			}
		}
	}
}

func TestGetChangesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	before := b.bytesOnDisk()
	for _, path := range []string{"/", "/loops", "/loops?q=ana", "/loops/" + string(file.Loop.Tag), b.ownerLink(file.Owner),
		b.ownerLink(file.Owner) + "?answer=fine", b.ownerLink(file.Owner) + "?answer=off&words=x", b.stopLink(file.Owner), b.stopLink(file.Owner) + "?mail=stop"} {
		assert.Equal(t, http.StatusOK, b.get(path).Code, path)
	}
	assert.Equal(t, before, b.bytesOnDisk())
	assert.Zero(t, b.wakes)
}

func TestUnknownAddressesGetThePlainPage(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for path, status := range map[string]int{
		"/nothing": http.StatusNotFound, "/loops/7K3QXA": http.StatusUnprocessableEntity, "/static/fillmark.css": http.StatusNotFound,
	} {
		w := b.get(path)
		assert.Equal(t, status, w.Code, path)
		assert.Contains(t, w.Header().Get("Content-Type"), "text/html", path)
		assert.Contains(t, w.Body.String(), `<link rel="stylesheet"`, path)
	}
	w := b.get("/api/v1/nothing")
	assert.Equal(t, http.StatusNotFound, w.Code)
	assert.Equal(t, "application/json", w.Header().Get("Content-Type"))
}

func TestMistypedTagSaysWhatWouldBeRight(t *testing.T) {
	t.Parallel()
	w := newBench(t).get("/loops/ABC")
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	assert.Contains(t, w.Body.String(), "Given: <bdi>ABC</bdi>")
	assert.Contains(t, w.Body.String(), "six symbols")
}

func TestPagesForbidWhatIsNotTheirs(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	for _, path := range []string{"/", "/nothing", "/o/forged"} {
		h := b.get(path).Header()
		assert.Contains(t, h.Get("Content-Security-Policy"), "default-src 'none'", path)
		assert.NotContains(t, h.Get("Content-Security-Policy"), "unsafe", path)
		assert.Equal(t, "no-store", h.Get("Cache-Control"), path)
		assert.Equal(t, "same-origin", h.Get("Referrer-Policy"), path)
	}
}

func TestStaticFilesAreKeptUnderTheirHash(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	found := regexp.MustCompile(`/static/(?:fillmark|mark)\.[0-9a-f]{16}\.(?:css|svg)`).FindAllString(b.get("/").Body.String(), -1)
	require.Len(t, found, 2)
	for i, kind := range []string{"text/css; charset=utf-8", "image/svg+xml"} {
		w := b.get(found[i])
		assert.Equal(t, http.StatusOK, w.Code)
		assert.Equal(t, kind, w.Header().Get("Content-Type"))
		assert.Equal(t, "public, max-age=31536000, immutable", w.Header().Get("Cache-Control"))
	}
	sheet := b.get(found[0]).Body.String()
	assert.NotContains(t, sheet, "url(")
	assert.NotContains(t, sheet, "@import")
}
