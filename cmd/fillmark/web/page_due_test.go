// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strconv"
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
	assert.Greater(t, len(list.Overdue), 40)
	seen := map[string]bool{}
	for page := 1; ; page++ {
		text := b.get(fmt.Sprintf("/?page=%d", page)).Body.String()
		assert.Contains(t, text, fmt.Sprintf("<strong>%d</strong> overdue", len(list.Overdue)))
		assert.LessOrEqual(t, strings.Count(text, `<article class="person"`), 40)
		for _, tag := range regexp.MustCompile(`href="/loops/([0-9A-Z]{6})"`).FindAllStringSubmatch(text, -1) {
			seen[tag[1]] = true
		}
		if !strings.Contains(text, ">Next</a>") {
			break
		}
	}
	assert.Len(t, seen, 45, "every loop is on some page")
}

// A call is written down where the owner is read, taken back there, and moves
// the work to the day that was agreed.
func TestCallsAreWrittenDownOnTheList(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	owner := loops.Owner{Name: "Bea Moss", Phone: "+351 210 000 000", Address: "Rua do Poço 3, Évora"}
	first := b.register(machine{owner: owner, name: "the white cube", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 200})
	read := func(path string) string { return html.UnescapeString(b.get(path).Body.String()) }
	page := read("/")
	assert.Contains(t, page, `href="tel:+351210000000"`)
	assert.Contains(t, page, "Rua do Poço 3, Évora")
	assert.Contains(t, page, "<strong>Call:</strong> no mail address on record")
	key := regexp.MustCompile(`name="key" value="([0-9a-f]+)"`).FindStringSubmatch(page)[1]
	tag := string(first.Loop.Tag)
	overdue := func() int {
		list, err := b.shop.Due(b.now)
		require.NoError(t, err)
		return len(list.Overdue)
	}
	before := overdue()
	require.Positive(t, before)

	tried := url.Values{"tag": {tag}, "key": {key}, "outcome": {"not reached"}}
	w := b.post("/due/called", tried)
	require.Equal(t, http.StatusSeeOther, w.Code)
	page = read(w.Header().Get("Location"))
	assert.Contains(t, page, "Called the owner: not reached.")
	assert.Contains(t, page, "not reached on Thu 3 Dec 2026, tried once")
	again := b.post("/due/called", tried)
	assert.Equal(t, w.Header().Get("Location"), again.Header().Get("Location"), "pressed twice it is one entry")

	w = b.post("/due/called", url.Values{"tag": {tag}, "key": {key + "-agreed"}, "outcome": {"reached"}, "agreed": {"2026-12-07"}})
	require.Equal(t, http.StatusSeeOther, w.Code)
	page = read(w.Header().Get("Location"))
	assert.Contains(t, page, "agreed for Mon 7 Dec 2026")
	assert.NotContains(t, page, "<strong>Call:</strong>")
	assert.Zero(t, overdue(), "it stands where the day agreed puts it")

	called := regexp.MustCompile(`name="called" value="([^"]+)"`).FindStringSubmatch(page)[1]
	undo := url.Values{"called": {called}, "key": {regexp.MustCompile(`name="key" value="([0-9a-f]+)"`).FindStringSubmatch(page)[1]}}
	require.Equal(t, http.StatusSeeOther, b.post("/due/undone", undo).Code)
	assert.Equal(t, before, overdue(), "taken back")
	assert.Equal(t, http.StatusNotFound, b.post("/due/undone", undo).Code, "nothing stands any more that could be taken back")

	for name, wrong := range map[string]url.Values{
		"a day that is past": {"tag": {tag}, "key": {"1"}, "outcome": {"reached"}, "agreed": {"2026-12-02"}},
		"nobody was reached": {"tag": {tag}, "key": {"2"}, "outcome": {"not reached"}, "agreed": {"2026-12-07"}},
		"no loop":            {"key": {"3"}, "outcome": {"reached"}},
		"no outcome":         {"tag": {tag}, "key": {"4"}},
	} {
		assert.Equal(t, http.StatusUnprocessableEntity, b.post("/due/called", wrong).Code, name)
	}
	assert.Equal(t, http.StatusUnprocessableEntity, b.post("/due/undone", url.Values{"key": {"5"}}).Code, "nothing is named")
}

// What was done about a task is written down from the list, by the form of the
// act that settles it, and taken back there.
func TestWorkIsWrittenDownOnTheList(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag := string(file.Loop.Tag)
	read := func(path string) string { return html.UnescapeString(b.get(path).Body.String()) }
	form := "/loops/" + tag + "/done?act=readings&from=1"
	require.Contains(t, read("/"), `href="`+form+`"`, "the look-over is overdue")
	overdue := func() int {
		list, err := b.shop.Due(b.now)
		require.NoError(t, err)
		return len(list.Overdue)
	}
	before := overdue()

	page := read(form)
	key := regexp.MustCompile(`name="key" value="([0-9a-f]+)"`).FindStringSubmatch(page)[1]
	said := url.Values{"page": {"done"}, "from": {"1"}, "key": {key}, "noise": {"none"}, "die": {"hot"}}
	w := b.post("/loops/"+tag+"/acts/readings", said)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	page = html.UnescapeString(w.Body.String())
	assert.Contains(t, page, `id="readings-die-problem"`, "the field that is wrong says so")
	assert.Contains(t, page, `value="none"`, "and nothing typed is lost")
	assert.Contains(t, page, `<section id="done">`, "in the form that stands on the list")

	said.Set("die", "47")
	w = b.post("/loops/"+tag+"/acts/readings", said)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body.String())
	page = read(w.Header().Get("Location"))
	assert.Contains(t, page, "Read: die 47.0 °C")
	assert.Less(t, overdue(), before)
	called := regexp.MustCompile(`name="called" value="([^"]+)"`).FindStringSubmatch(page)[1]
	undo := url.Values{"called": {called}, "key": {regexp.MustCompile(`name="key" value="([0-9a-f]+)"`).FindStringSubmatch(page)[1]}, "from": {"1"}}
	require.Equal(t, http.StatusSeeOther, b.post("/due/undone", undo).Code)
	assert.Equal(t, before, overdue(), "taken back")

	assert.Equal(t, http.StatusNotFound, b.get("/loops/"+tag+"/done?act=retire").Code, "no act that the list does not ask for")
	fill := tag + ":" + strconv.FormatUint(uint64(file.History[0].ID), 10)
	assert.Equal(t, http.StatusNotFound, b.post("/due/undone", url.Values{"called": {fill}, "key": {"6"}}).Code, "a fill is not taken back on the list")
}

// Every kind of task has a way to write down that it is done, and comes back to
// the page of the list that it was on.
func TestEveryTaskLeadsOn(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	for name, want := range map[string]string{"readings": `id="readings-verdict"`, "dose": `name="poured-of"`, "leakcheck": `id="leakcheck-hours"`} {
		w := b.get("/loops/" + tag + "/done?act=" + name + "&from=3")
		require.Equal(t, http.StatusOK, w.Code)
		assert.Contains(t, w.Body.String(), want)
		assert.Contains(t, w.Body.String(), `name="from" value="3"`)
	}
	w := b.post("/due/called", url.Values{"tag": {tag}, "key": {"1"}, "outcome": {"reached"}, "on": {"2026-12-04"}, "agreed": {""}, "from": {"3"}})
	require.Equal(t, http.StatusSeeOther, w.Code)
	assert.Contains(t, w.Header().Get("Location"), "page=3")
	assert.Contains(t, html.UnescapeString(b.get(w.Header().Get("Location")).Body.String()), "agreed for Fri 4 Dec 2026", "a day of one press")
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
				path + "/label":    next.Due.Long(), // that it is due; why stands where there is room
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

// An owner stands on one page of the list with all that their machines have, and
// can be asked for wherever that is by now.
func TestNobodyStandsOnTwoPagesOfTheList(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var several loops.OwnerID
	for i := range 45 {
		m := machine{owner: loops.Owner{Name: fmt.Sprintf("Owner %d", i)}, name: "tower", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 300 - i}
		if i == 44 {
			m.owner = loops.Owner{ID: several}
		}
		if file := b.register(m); i == 0 {
			several = file.Owner.ID
		}
	}
	shown := regexp.MustCompile(`<article class="person" id="([^"]+)">`)
	seen := map[string]int{}
	read := func(path string) []string {
		var ids []string
		for _, found := range shown.FindAllStringSubmatch(b.get(path).Body.String(), -1) {
			ids = append(ids, found[1])
		}
		return ids
	}
	last := ""
	for page := 1; ; page++ {
		ids := read(fmt.Sprintf("/?page=%d", page))
		for _, id := range ids {
			seen[id]++
			last = id
		}
		if !strings.Contains(b.get(fmt.Sprintf("/?page=%d", page)).Body.String(), ">Next</a>") {
			break
		}
	}
	assert.Len(t, seen, 44)
	for id, times := range seen {
		assert.Equal(t, 1, times, id)
	}
	alone := b.get(fmt.Sprintf("/?of=owner-%d", several)).Body.String()
	assert.Equal(t, 2, strings.Count(alone, `<span class="tag">`), "both machines, from both ends of the list")
	assert.Len(t, shown.FindAllString(alone, -1), 1)

	all := append(read("/"), read("/?after="+read("/")[len(read("/"))-1])...)
	assert.Len(t, slices.Compact(slices.Sorted(slices.Values(all))), 44, "who comes after somebody was not before")
	assert.Len(t, all, 44)
	assert.Empty(t, read("/?after="+last))
	for _, nobody := range []string{"nobody", "", "owner-x", "owner-0", "loop-"} {
		assert.Empty(t, read("/?of="+nobody), "%q", nobody)
	}
	assert.NotEmpty(t, read("/?after=nobody"), "who has gone from the list leads to its beginning")

	tag := string(b.ana().Loop.Tag)
	w := b.post("/due/called", url.Values{"tag": {tag}, "key": {"1"}, "outcome": {"not reached"}, "from": {"owner-1"}})
	assert.Contains(t, w.Header().Get("Location"), "of=owner-1")
}

// Behind an owner with more tasks than a page holds stand all the others, with and
// without script.
func TestNobodyIsHiddenBehindALargeOwner(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tower := machine{owner: loops.Owner{Name: "A school"}, name: "tower", kind: loops.Desktop, fluid: chemistry.PropyleneGlycol, mass: 0.35, wall: -10, daysAgo: 400}
	tower.owner = loops.Owner{ID: b.register(tower).Owner.ID}
	for range 44 {
		b.register(tower)
	}
	for i := range 45 {
		tower.owner, tower.daysAgo = loops.Owner{Name: fmt.Sprintf("Owner %d", i)}, 300
		b.register(tower)
	}
	shown := regexp.MustCompile(`<article class="person" id="([^"]+)">`)
	for _, follow := range []string{"by number", "after the last"} {
		seen, pages, address := map[string]int{}, 0, "/"
		for address != "" {
			page := b.get(address).Body.String()
			found := shown.FindAllStringSubmatch(page, -1)
			if !assert.NotEmpty(t, found, "%s: nobody at %s", follow, address) {
				break
			}
			for _, id := range found {
				seen[id[1]]++
			}
			pages++
			next := regexp.MustCompile(`href="([^"]+)" rel="next"|rel="next" href="([^"]+)"`).FindStringSubmatch(page)
			address = ""
			if next != nil {
				address = html.UnescapeString(next[1] + next[2])
				if follow == "after the last" {
					address = "/?after=" + found[len(found)-1][1]
				}
			}
		}
		assert.Len(t, seen, 46, follow)
		assert.Equal(t, 3, pages, follow)
		for id, times := range seen {
			assert.Equal(t, 1, times, "%s: %s", follow, id)
		}
	}
}
