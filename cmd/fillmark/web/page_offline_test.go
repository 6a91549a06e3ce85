// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"crypto/sha256"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

func TestWorkerNamesItsBuildAndNobody(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.technician("Bo")
	w := b.get("/worker.js")
	require.Equal(t, http.StatusOK, w.Code, "it is there for whoever asks")
	assert.Equal(t, "text/javascript; charset=utf-8", w.Header().Get("Content-Type"))
	assert.Equal(t, "no-store", w.Header().Get("Cache-Control"))
	assert.Regexp(t, `^const build = "[0-9a-f]{16}";\n`, w.Body.String())
	assert.Equal(t, w.Body.String(), newBench(t).get("/worker.js").Body.String(), "the same build, the same worker")
}

// The page that stands in for others is kept beyond a sign-out.
func TestNotConnectedNamesNobody(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.technician("Bo Alder")
	b.signIn("Bo Alder")
	w := b.get("/not-connected")
	assert.Equal(t, http.StatusOK, w.Code)
	b.says(w, "This page is shown when connected", "not connected")
	assert.NotContains(t, w.Body.String(), "Alder")
	assert.NotContains(t, w.Body.String(), "Bench & Brook")
	assert.NotContains(t, html.UnescapeString(w.Body.String()), "Bench & Brook")
}

// What the worker changes in a page that it kept is there to be changed.
func TestPagesHaveWhatTheWorkerChanges(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	script, err := os.ReadFile("worker.js")
	require.NoError(t, err)
	pages := b.get("/loops/"+string(file.Loop.Tag)+"/refill").Body.String() + b.get("/not-connected").Body.String()
	changed := regexp.MustCompile(`\.replace\(['"](.+?)['"], `).FindAllStringSubmatch(string(script), -1)
	require.Len(t, changed, 4)
	for _, c := range changed {
		assert.Equal(t, 1, strings.Count(pages, c[1]), c[1])
	}
	b.says(b.get("/loops/"+string(file.Loop.Tag)+"/refill"), "As of Thu 3 Dec 2026, 12:00", "the sheet says when it was made")
}

// judgedBeforehand are the verdicts of the table on a job sheet: a liquid, three
// words.
func judgedBeforehand(page string) map[string][]string {
	all := map[string][]string{}
	for _, table := range regexp.MustCompile(`(?s)<table class="beforehand">(.*?)</table>`).FindAllString(page, -1) {
		name := regexp.MustCompile(`<caption>(.*?)</caption>`).FindStringSubmatch(table)[1]
		for _, cell := range regexp.MustCompile(`class="verdict ([a-z]+)"`).FindAllStringSubmatch(table, -1) {
			all[html.UnescapeString(name)] = append(all[html.UnescapeString(name)], cell[1])
		}
	}
	return all
}

func (b *bench) shelved(product string, fluid chemistry.Fluid, mass float64, left chemistry.Litre) loops.Container {
	b.Helper()
	c, err := b.shop.AddContainer(stamp(1), loops.Container{Kind: loops.PremixBottle, Product: product, Fluid: fluid, Mass: new(chemistry.MassFraction(mass)), Left: left})
	require.NoError(b, err)
	return c
}

// A phone without a connection judges nothing: what it shows is what the top-up
// check says of the same gap and liquid.
func TestTopUpsBeforehandAreThoseOfTheCheck(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	like := b.shelved("Quayside mix", chemistry.PropyleneGlycol, 0.35, 2)
	thin := b.shelved("Thin <mix>", chemistry.PropyleneGlycol, 0.05, 2)
	other := b.shelved("The other glycol", chemistry.EthyleneGlycol, 0.5, 1)
	little := b.shelved("The last drop", chemistry.PropyleneGlycol, 0.35, 0.01)
	b.shelved("Empty", chemistry.PropyleneGlycol, 0.35, 0)
	w := b.get("/loops/" + tag + "/refill")
	found := judgedBeforehand(w.Body.String())
	require.Len(t, found, 5, "four containers and water")
	liquids := map[string]string{"dilution water": "water"}
	for _, c := range []loops.Container{like, thin, other, little} {
		liquids[fmt.Sprintf("No. %d %s", c.ID, c.Product)] = fmt.Sprintf("container:%d", c.ID)
	}
	seen := map[string]bool{}
	for name, choice := range liquids {
		require.Len(t, found[name], 3, name)
		for i, room := range []string{"20", "40", "60"} {
			check := b.get("/topup?" + url.Values{"tag": {tag}, "room": {room}, "liquid1": {choice}}.Encode())
			says := regexp.MustCompile(`verdict big ([a-z]+)"`).FindStringSubmatch(check.Body.String())
			require.NotNil(t, says, "%s at %s", name, room)
			assert.Equal(t, says[1], found[name][i], "%s at %s ml", name, room)
			seen[says[1]] = true
		}
	}
	assert.Greater(t, len(seen), 1, "the liquids were chosen to differ")
	assert.Equal(t, []string{"stop", "stop", "stop"}, found["No. 3 The other glycol"])
	b.says(w, "never mix the two glycols", "why")
	b.says(w, "Judged Thu 3 Dec 2026, 12:00", "as of")
}

func TestTopUpsBeforehandKnowWhatIsNotKnown(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	empty := b.taken(intakeForm(nil))
	assert.NotContains(t, b.get("/loops/"+string(empty)+"/refill").Body.String(), `id="topups"`, "nothing is in it")
	vague := b.register(machine{owner: loops.Owner{Name: "Bea Moss"}, name: "cube", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: -1, wall: 5, daysAgo: 30})
	found := judgedBeforehand(b.get("/loops/" + string(vague.Loop.Tag) + "/refill").Body.String())
	require.NotEmpty(t, found)
	for name, verdicts := range found {
		assert.NotContains(t, verdicts, "go", "%s: nobody knows how strong it is", name)
	}
	small := b.register(machine{owner: loops.Owner{Name: "Cy Dell"}, name: "cell", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: 5, daysAgo: 30})
	c := small.Loop
	c.Volume, c.VolumeUncertainty = 0.05, 0
	_, err := b.shop.Edit(stamp(1), workshop.Edit{Loop: &c})
	require.NoError(t, err)
	w := b.get("/loops/" + string(c.Tag) + "/refill")
	assert.Equal(t, "unknown", judgedBeforehand(w.Body.String())["dilution water"][2])
	b.says(w, "less than the loop holds full, 50 ml", "the reason stands with it")
}

// However many bottles stand on the shelf, the sheet stays one.
func TestTopUpsBeforehandAreBounded(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	for n := range 15 {
		b.shelved(fmt.Sprintf("can %d", n), chemistry.EthyleneGlycol, 0.5, 1)
	}
	like := b.shelved("the right one", chemistry.PropyleneGlycol, 0.35, 1)
	w := b.get("/loops/" + tag + "/refill")
	found := judgedBeforehand(w.Body.String())
	assert.Len(t, found, 12)
	assert.Contains(t, found, fmt.Sprintf("No. %d the right one", like.ID), "what is like the charge comes first")
	b.says(w, "5 more on the shelf: judged when connected", "the rest is named")
}

// The library that keeps what was typed is the one that was published.
func TestVendoredScriptIsAsPublished(t *testing.T) {
	t.Parallel()
	script, err := os.ReadFile("static/idb-keyval.js")
	require.NoError(t, err)
	parts := strings.SplitAfterN(string(script), "\n", 3)
	require.Len(t, parts, 3)
	assert.Contains(t, parts[1], "Apache-2.0")
	decisions, err := os.ReadFile("../../../doc/decisions.md")
	require.NoError(t, err)
	assert.Contains(t, string(decisions), fmt.Sprintf("%x", sha256.Sum256([]byte(parts[2]))))
}

// A device keeps the list of what is in each loop, bounded, and no more of it than
// can still be topped up.
func TestRegisterIsListedForADevice(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.says(b.get("/register"), "No loop is on record yet", "before the first")
	first := b.ana()
	second := b.register(machine{owner: loops.Owner{Name: hostile}, name: hostile, kind: loops.Desktop, fluid: chemistry.EthyleneGlycol, mass: 0.4, wall: 5, daysAgo: 30})
	gone := b.register(machine{owner: loops.Owner{Name: "Cy Dell"}, name: "cell", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: 5, daysAgo: 30})
	b.record(stamp(1), gone.Loop.Tag, loops.Entry{Kind: loops.KindRetirement, Retirement: &loops.Retirement{Reason: "scrapped"}})
	w := b.get("/register")
	require.Equal(t, http.StatusOK, w.Code)
	for _, say := range []string{"As of Thu 3 Dec 2026, 12:00", "the grey tower", "Ana Fern", "35.0", "40.0", `<tr id="` + string(first.Loop.Tag) + `">`, `id="kept-` + string(first.Loop.Tag) + `" hidden`} {
		b.says(w, say, "the list")
	}
	assert.NotContains(t, w.Body.String(), string(gone.Loop.Tag), "it is out of service")
	assert.NotContains(t, w.Body.String(), "<script>alert")
	tags, more, err := web.KeptLoops(b.deps, 1)
	require.NoError(t, err)
	assert.Equal(t, []string{string(first.Loop.Tag)}, tags)
	assert.True(t, more)
	tags, more, err = web.KeptLoops(b.deps, 2)
	require.NoError(t, err)
	assert.Equal(t, []string{string(first.Loop.Tag), string(second.Loop.Tag)}, tags)
	assert.False(t, more, "what is out of service takes no place")
}

// What the worker finds a loop's line by, and all that a page is drawn with, is in
// the pages that it keeps.
func TestWorkerFindsItsWayInWhatItKeeps(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	script, err := os.ReadFile("worker.js")
	require.NoError(t, err)
	page := b.get("/register").Body.String()
	for _, line := range []string{"<tr id=\"${tag}\">", "id=\"kept-${tag}\" hidden"} {
		require.Contains(t, string(script), line)
		assert.Equal(t, 1, strings.Count(page, regexp.MustCompile(`\$\{\w+\}`).ReplaceAllString(line, tag)), line)
	}
	for _, path := range []string{"/register", "/scan"} {
		assert.Contains(t, string(script), `"`+path+`"`)
	}
	found := regexp.MustCompile(`="(/static/[^"]+)"`).FindAllStringSubmatch(b.get("/scan").Body.String(), -1)
	var names []string
	for _, f := range found {
		names = append(names, f[1])
	}
	joined := strings.Join(names, " ")
	for _, part := range []string{"decode.js", "index.js", "/static/scan.", "/static/fillmark."} {
		assert.Contains(t, joined, part)
	}
}
