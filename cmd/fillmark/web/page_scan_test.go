// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"crypto/sha256"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"fillmark/chemistry"
	"fillmark/loops"
)

func scan(values url.Values) string { return "/scan?" + values.Encode() }

// One label opens a loop or a bottle, as its code says it or as somebody types it.
func TestScanOpensWhatALabelNames(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	b.shelved("Quayside mix", chemistry.PropyleneGlycol, 0.35, 2)
	for code, leads := range map[string]string{
		"https://pages.workshop.example/loops/" + tag: "/scan?tag=" + tag,
		"HTTPS://Pages.Workshop.example/loops/" + tag: "/scan?tag=" + tag,
		"http://127.0.0.1/loops/" + tag:               "/scan?tag=" + tag,
		tag:                                           "/scan?tag=" + tag,
		strings.ToLower(tag[:3]) + " " + tag[3:]:      "/scan?tag=" + tag,
		"https://pages.workshop.example/shelf/1":      "/shelf/1",
		"1":                                           "/shelf/1",
		"No. 1":                                       "/shelf/1",
		" https://pages.workshop.example/loops/" + tag + " ": "/scan?tag=" + tag,
	} {
		w := b.get(scan(url.Values{"code": {code}}))
		assert.Equal(t, http.StatusFound, w.Code, code)
		assert.Equal(t, leads, w.Header().Get("Location"), code)
	}
}

// Anything else is told plainly, and nothing is opened.
func TestScanOpensNothingElse(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	for code, says := range map[string]string{
		"https://elsewhere.example/loops/" + tag:                       "not of this workshop",
		"https://pages.workshop.example.evil.example/" + tag:           "not of this workshop",
		"https://pages.workshop.example@evil.example/loops/" + tag:     "not of this workshop",
		"https://pages.workshop.example/":                              "the label of a loop or a bottle",
		"https://pages.workshop.example/loops/" + tag + "/acts/retire": "the label of a loop or a bottle",
		"https://pages.workshop.example/sign-out":                      "the label of a loop or a bottle",
		"javascript:alert(1)":                                          "the label of a loop or a bottle",
		"//elsewhere.example/loops/" + tag:                             "the label of a loop or a bottle",
		"WIFI:T:WPA;S:bench;P:secret;;":                                "the label of a loop or a bottle",
		"<script>alert(1)</script>":                                    "the label of a loop or a bottle",
		strings.Repeat("9", 5000):                                      "the label of a loop or a bottle",
		"7K3QXX":                                                       "the last one does not fit the first five",
		"00000" + "0":                                                  "no loop has this tag",
		"https://pages.workshop.example/loops/7K3QXX":                  "the last one does not fit the first five",
		"https://pages.workshop.example/shelf/9":                       "no bottle has this number",
		"https://pages.workshop.example/shelf/nine":                    "the number on the container's label",
		"9":   "no bottle has this number",
		"%zz": "the label of a loop or a bottle",
	} {
		w := b.get(scan(url.Values{"code": {code}}))
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, code)
		assert.Empty(t, w.Header().Get("Location"), code)
		b.says(w, says, code[:min(len(code), 80)])
		b.says(w, `id="code-problem"`, code[:min(len(code), 80)])
		assert.NotContains(t, w.Body.String(), "<script>alert", code)
	}
}

// From the loop's label over the gap to the bottle: what comes out is the answer
// of the top-up check, at its own address.
func TestScanLeadsToTheVerdict(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	like := b.shelved("Quayside mix", chemistry.PropyleneGlycol, 0.35, 2)
	b.shelved("The other glycol", chemistry.EthyleneGlycol, 0.5, 1)
	before := b.bytesOnDisk()

	w := b.get("/scan?tag=" + tag)
	require.Equal(t, http.StatusOK, w.Code)
	for _, say := range []string{"the grey tower", "Ana Fern", `name="room" value="20"`, `name="room" value="40"`, `name="room" value="60"`, `id="room"`, "/loops/" + tag + "/refill"} {
		b.says(w, say, "the gap")
	}
	assert.NotContains(t, w.Body.String(), `id="camera"`, "nothing is scanned while the gap is asked")

	w = b.get("/scan?tag=" + tag + "&room=40")
	require.Equal(t, http.StatusOK, w.Code)
	ask := func(liquid string) string {
		return "/topup?" + url.Values{"ask": {"yes"}, "tag": {tag}, "room": {"40"}, "liquid1": {liquid}}.Encode()
	}
	verdicts := map[string]string{}
	for _, liquid := range []string{"water", "container:1", "container:2"} {
		b.says(w, ask(liquid), "the shelf's list")
		verdicts[liquid] = verdictIn(b.get(ask(liquid)).Body.String())
	}
	assert.Equal(t, "stop", verdicts["container:2"])
	assert.NotEqual(t, "stop", verdicts["container:1"])

	bottle := fmt.Sprintf("https://pages.workshop.example/shelf/%d", like.ID)
	for _, code := range []string{bottle, "1", "No. 1"} {
		w = b.get(scan(url.Values{"tag": {tag}, "room": {"40"}, "code": {code}}))
		require.Equal(t, http.StatusFound, w.Code, code)
		assert.Equal(t, ask("container:1"), w.Header().Get("Location"))
	}
	b.unchanged(before)
}

func verdictIn(page string) string {
	found := regexp.MustCompile(`verdict big ([a-z]+)"`).FindStringSubmatch(page)
	if found == nil {
		return ""
	}
	return found[1]
}

// What cannot go on says why, where one stands, and keeps what was said.
func TestScanSaysWhatIsInTheWay(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	other := string(b.register(machine{owner: loops.Owner{Name: "Bea Moss"}, name: "cube", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: 5, daysAgo: 30}).Loop.Tag)
	empty := string(b.taken(intakeForm(url.Values{"owner_id": {"new"}})))
	b.shelved("Drunk up", chemistry.PropyleneGlycol, 0.35, 0)
	_, err := b.shop.AddContainer(stamp(1), loops.Container{Kind: loops.AdditiveBottle, Product: "Drops", Left: 0.1})
	require.NoError(t, err)

	w := b.get("/scan?tag=" + empty)
	assert.Equal(t, http.StatusOK, w.Code)
	b.says(w, "nothing to top up", "an empty loop")
	assert.NotContains(t, w.Body.String(), `name="room"`, "an empty loop has no gap")

	for _, tt := range []struct {
		name, says string
		values     url.Values
	}{
		{"words for a gap", `id="room-problem"`, url.Values{"tag": {tag}, "room": {"some"}}},
		{"what is right instead", "Expected: a volume such as 60ml<", url.Values{"tag": {tag}, "room": {"some"}}},
		{"no gap", `id="room-problem"`, url.Values{"tag": {tag}, "room": {""}}},
		{"litres for millilitres", "Expected: 0.5 ml at least, or none: is the unit right?", url.Values{"tag": {tag}, "room": {"0.04"}}},
		{"more than it holds", "Expected: less than the loop holds full, 600 ml", url.Values{"tag": {tag}, "room": {"5000"}}},
		{"all that it holds, and a bottle", "Expected: less than the loop holds full, 600 ml", url.Values{"tag": {tag}, "room": {"600"}, "code": {"1"}}},
		{"another loop's label", "the label of a bottle; this one is of the loop " + other, url.Values{"tag": {tag}, "room": {"40"}, "code": {"http://127.0.0.1/loops/" + other}}},
		{"an empty bottle", "nothing is left in No. 1", url.Values{"tag": {tag}, "room": {"40"}, "code": {"1"}}},
		{"an additive", "nobody knows how strong No. 2 is, or it is no coolant", url.Values{"tag": {tag}, "room": {"40"}, "code": {"2"}}},
		{"a tag of no loop", "the last one does not fit", url.Values{"tag": {"7K3QXX"}}},
	} {
		w := b.get(scan(tt.values))
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, tt.name)
		b.says(w, tt.says, tt.name)
	}
	// Nothing missing asks for no bottle.
	w = b.get(scan(url.Values{"tag": {tag}, "room": {"0"}}))
	require.Equal(t, http.StatusFound, w.Code)
	assert.Equal(t, "/topup?"+url.Values{"ask": {"yes"}, "tag": {tag}, "room": {"0"}}.Encode(), w.Header().Get("Location"))
	assert.NotEmpty(t, verdictIn(b.get(w.Header().Get("Location")).Body.String()))
	// The camera still sees the label that led here.
	w = b.get(scan(url.Values{"tag": {tag}, "room": {"40"}, "code": {"http://127.0.0.1/loops/" + tag}}))
	assert.Equal(t, http.StatusFound, w.Code)
	assert.Equal(t, scan(url.Values{"tag": {tag}, "room": {"40"}}), w.Header().Get("Location"))
	b.says(b.get("/"), `href="/scan"`, "home")
	b.says(b.get("/manifest.webmanifest"), `"shortcuts":[{"name":"Scan","url":"/scan"}]`, "from the phone's home screen")
}

// Where the camera cannot be had the page says what to do.
func TestScanSaysWhatToDoWithoutACamera(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	page := b.get("/scan").Body.String()
	doc, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	assertPlain(t, "/scan", doc)
	assertLabelled(t, "/scan", doc)
	for _, why := range []string{"insecure", "denied", "none", "reader"} {
		said := regexp.MustCompile(`(?s)<p class="notice" id="camera-` + why + `" hidden>(.*?)</p>`).FindStringSubmatch(page)
		require.NotNil(t, said, why)
		assert.Contains(t, said[1], "Type the tag", why)
	}
	assert.Contains(t, page, "The phone's own camera")
	page = b.get("/scan?room=40&tag=" + string(b.ana().Loop.Tag)).Body.String()
	assert.Equal(t, 4, strings.Count(page, "Choose the bottle below, or type its number"), "where the bottle is asked for")
	assert.NotContains(t, page, "Type the tag")
}

// An address of the pages with a path of its own stands on their labels too.
func TestScanReadsLabelsBelowAPath(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	settings := b.settings()
	settings.BaseURL = "https://pages.workshop.example/fm"
	b.takesSettings(settings)
	tag := string(b.ana().Loop.Tag)
	for _, path := range []string{"/fm/loops/", "/loops/"} {
		w := b.get(scan(url.Values{"code": {"https://pages.workshop.example" + path + tag}}))
		assert.Equal(t, http.StatusFound, w.Code, path)
		assert.Equal(t, "/scan?tag="+tag, w.Header().Get("Location"), path)
	}
	w := b.get(scan(url.Values{"code": {"https://pages.workshop.example/other/loops/" + tag}}))
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
}

// The decoder is the one that was published, and is served under the address by
// which its parts find each other.
func TestDecoderIsAsPublished(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	decisions, err := os.ReadFile("../../../doc/decisions.md")
	require.NoError(t, err)
	address := regexp.MustCompile(`data-decoder="(/static/qr-[0-9.]+/)decode\.js"`).FindStringSubmatch(b.get("/scan").Body.String())
	require.NotNil(t, address)
	for _, name := range []string{"decode.js", "index.js"} {
		content, err := os.ReadFile(filepath.Join("static", strings.TrimPrefix(address[1], "/static/"), name))
		require.NoError(t, err)
		assert.Contains(t, string(decisions), fmt.Sprintf("%x", sha256.Sum256(content)), name)
		w := b.get(address[1] + name)
		require.Equal(t, http.StatusOK, w.Code, name)
		assert.Equal(t, string(content), w.Body.String())
		assert.Equal(t, "text/javascript; charset=utf-8", w.Header().Get("Content-Type"))
		assert.Equal(t, "public, max-age=31536000, immutable", w.Header().Get("Cache-Control"))
	}
	assert.Equal(t, http.StatusNotFound, b.get(address[1]+"none.js").Code)
}
