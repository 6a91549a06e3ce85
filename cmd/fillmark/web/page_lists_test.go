// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// hostileShop has hostile text in every field that a page shows.
func hostileShop(b *bench) []string {
	b.Helper()
	file := b.register(machine{
		owner: loops.Owner{Name: hostile, Email: "ana@garden.example", Phone: `"><b>1`, Address: hostile},
		name:  hostile, kind: loops.Desktop, fluid: chemistry.EthyleneGlycol, mass: 0.3, wall: -5, daysAgo: 200, note: hostile,
	})
	container, err := b.shop.AddContainer(stamp(9), loops.Container{Kind: loops.PremixBottle, Product: hostile, Lot: `"><i>`, Fluid: chemistry.EthyleneGlycol, Mass: new(chemistry.MassFraction(0.3)), Left: 1, Note: hostile})
	require.NoError(b, err)
	b.record(stamp(8), file.Loop.Tag, loops.Entry{Kind: loops.KindIntake, Intake: &loops.Intake{Complaint: hostile, Symptom: hostile}})
	b.record(stamp(7), file.Loop.Tag, loops.Entry{Kind: loops.KindStep, Note: hostile, Step: &loops.StepDone{Step: "photo", LeftOut: true}})
	for _, die := range []chemistry.Celsius{60, 65} {
		b.record(stamp(6), file.Loop.Tag, loops.Entry{Kind: loops.KindInspection, Note: hostile, Inspection: &loops.Inspection{
			Die: &die, Room: new(chemistry.Celsius(21)), PowerW: new(80.0), Verdict: loops.Good, Noise: hostile,
		}})
	}
	b.record(stamp(5), file.Loop.Tag, loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Container: 1, Volume: 0.01}}}})
	b.record(stamp(4), file.Loop.Tag, loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{Out: 0.1, Left: 0.01, Hazard: hostile, Disposal: hostile}})
	tag := string(file.Loop.Tag)
	paths := []string{
		"/more", "/owners", "/owners?q=%3Cscript%3E", "/owners/1", "/outbox", "/outbox?status=queued", "/settings", "/shelf", fmt.Sprint("/shelf/", container.ID),
		"/recall", "/recall?lot=%22%3E%3Ci%3E", "/recall?lot=%3Cscript%3E", "/intake", "/intake?tag=" + tag, "/intake?owner_id=1",
		"/register", "/scan", "/scan?code=%3Cscript%3E", "/scan?tag=" + tag, "/scan?tag=" + tag + "&room=%3Cscript%3E", "/scan?tag=" + tag + "&room=40",
		"/topup", "/topup?tag=%3Cscript%3E&room=%3Cscript%3E", "/loops/" + tag, "/loops/" + tag + "/refill", "/loops/" + tag + "/refill?mix=yes&left=5&fluid=eg&want=30&concentrate=95",
		"/loops/" + tag + "/label", "/loops/" + tag + "/label?size=a4", "/loops/" + tag + "/receipt", "/loops/" + tag + "/edit", "/loops/" + tag + "/handover", "/shelf/1/label",
		"/loops?fluid=eg&metal=copper&lot=%22%3E%3Ci%3E&where=&sort=owner", "/loops?page=2", "/loops?page=zwei",
	}
	for m, err := range b.store.Messages("") {
		require.NoError(b, err)
		paths = append(paths, "/outbox/message?key="+url.QueryEscape(string(m.Key)))
	}
	return paths
}

func TestBenchPagesEscapeHostileTextAndChangeNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	paths := hostileShop(b)
	before := b.bytesOnDisk()
	for _, path := range paths {
		w := b.get(path)
		assert.Contains(t, []int{http.StatusOK, http.StatusUnprocessableEntity}, w.Code, path)
		assert.NotContains(t, w.Body.String(), "<script>alert", path)
		doc, err := html.Parse(w.Body)
		require.NoError(t, err)
		assertPlain(t, path, doc)
		assertLabelled(t, path, doc)
	}
	b.unchanged(before)
	assert.Zero(t, b.wakes)
}

// assertLabelled holds every field to a label, every id to one place, and
// every page to one first heading.
func assertLabelled(t *testing.T, path string, doc *html.Node) {
	t.Helper()
	ids, labels, headings := map[string]int{}, map[string]bool{}, 0
	attr := func(n *html.Node, name string) string {
		for _, a := range n.Attr {
			if a.Key == name {
				return a.Val
			}
		}
		return ""
	}
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		if id := attr(n, "id"); id != "" {
			ids[id]++
		}
		if n.Data == "label" {
			labels[attr(n, "for")] = true
		}
		if n.Data == "h1" {
			headings++
		}
	}
	for id, times := range ids {
		assert.Equal(t, 1, times, "%s: id %s", path, id)
	}
	assert.Equal(t, 1, headings, path)
	for n := range doc.Descendants() {
		if n.Type != html.ElementNode || (n.Data != "input" && n.Data != "select" && n.Data != "textarea") || attr(n, "type") == "hidden" {
			continue
		}
		wrapped := false
		for up := n.Parent; up != nil; up = up.Parent {
			wrapped = wrapped || up.Data == "label"
		}
		assert.True(t, wrapped || labels[attr(n, "id")], "%s: %s %s has no label", path, n.Data, attr(n, "name"))
	}
}

func TestOwnerIsEditedAndNeverOverwritten(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.ana()
	page := b.get("/owners/1")
	require.Equal(t, http.StatusOK, page.Code)
	b.says(page, "the grey tower", "machines")
	kept, err := b.store.Owner(1)
	require.NoError(t, err)
	form := url.Values{
		"owner.name": {"Ana Fern"}, "owner.email": {"ana@new.example"}, "owner.phone": {"1"}, "owner.units": {"us customary"}, "owner.opening-consent": {"yes"},
		"owner.zone": {""}, "owner.address": {"Lane 1\r\nTown"}, "owner.revision": {fmt.Sprint(kept.Revision)}}
	w := b.post("/owners/1", form)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	edited, err := b.store.Owner(1)
	require.NoError(t, err)
	assert.Equal(t, "ana@new.example", edited.Email)
	assert.Equal(t, loops.Consent{Opening: true}, edited.Consent)
	assert.Equal(t, "Lane 1\nTown", edited.Address)
	assert.Equal(t, kept.Zone != "", edited.Zone == "", "an empty zone is the workshop's")

	before := b.bytesOnDisk()
	assert.Equal(t, http.StatusSeeOther, b.post("/owners/1", form).Code, "sent twice it says what is on record")
	form.Set("owner.email", "ana@other.example")
	assert.Equal(t, http.StatusConflict, b.post("/owners/1", form).Code, "somebody wrote in between")
	form.Set("owner.email", "no address")
	form.Set("owner.revision", fmt.Sprint(edited.Revision))
	w = b.post("/owners/1", form)
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, `value="no address"`, "email")
	b.says(w, `id="owner-email-problem"`, "email")
	assert.Equal(t, http.StatusNotFound, b.get("/owners/9").Code)
	assert.Equal(t, http.StatusNotFound, b.get("/owners/x").Code)
	b.unchanged(before)
}

func TestOutboxHoldsAndReleases(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	b.ana()
	var key loops.MessageKey
	for m, err := range b.store.Messages("") {
		require.NoError(t, err)
		key = m.Key
	}
	path := "/outbox/message?key=" + url.QueryEscape(string(key))
	b.says(b.get("/outbox"), "The grey tower", "subject")
	page := b.get(path)
	b.says(page, "Good day Ana Fern", "text")
	b.says(page, "Hold", "button")
	for _, step := range []struct {
		do   workshop.OutboxAction
		want loops.MessageStatus
	}{{workshop.Hold, loops.Held}, {workshop.Release, loops.Queued}, {workshop.Drop, loops.Dropped}} {
		w := b.post("/outbox/message", url.Values{"key": {string(key)}, "do": {string(step.do)}})
		require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
		assert.Equal(t, path, w.Header().Get("Location"))
		m, err := b.store.Message(key)
		require.NoError(t, err)
		assert.Equal(t, step.want, m.Status)
		b.says(b.get("/outbox?status="+string(step.want)), "The grey tower", string(step.want))
	}
	before := b.bytesOnDisk()
	assert.Equal(t, http.StatusSeeOther, b.post("/outbox/message", url.Values{"key": {string(key)}, "do": {"hold"}}).Code, "it moved on: the page shows how it stands")
	assert.Equal(t, http.StatusUnprocessableEntity, b.post("/outbox/message", url.Values{"key": {string(key)}, "do": {"burn"}}).Code)
	assert.Equal(t, http.StatusNotFound, b.post("/outbox/message", url.Values{"key": {"x"}, "do": {"hold"}}).Code)
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/outbox?status=lost").Code)
	b.unchanged(before)
}

func TestShelfAndRecall(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	form := url.Values{
		"container.kind": {"premix"}, "container.product": {"Blue premix"}, "container.lot": {"L7"}, "container.fluid": {"pg"},
		"container.mass": {"35"}, "container.left": {"500"}, "container.expires": {"2026-11-01"},
	}
	w := b.post("/shelf", form)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	assert.Equal(t, "/shelf/1", w.Header().Get("Location"))
	for i := range 25 {
		_, err := b.shop.AddWaste(stamp(25-i), "", loops.UsedFluid{Fluid: chemistry.TreatedWater, Volume: 1, Went: fmt.Sprintf("drum no. %d.", i)})
		require.NoError(t, err)
	}
	sample, err := b.shop.AddSample(stamp(9), tag, loops.RetainedSample{Place: "rack B2", Keep: loops.Day{Year: 2026, Month: 12, Dom: 1}, Taken: loops.Day{Year: 2026, Month: 6, Dom: 1}})
	require.NoError(t, err)
	for _, say := range []string{"rack B2", "keep until", "which is past"} {
		b.says(b.get("/shelf"), say, "a sample that may go")
	}
	_, err = b.shop.DiscardSample(stamp(0), sample.ID, loops.Day{})
	require.NoError(t, err)
	assert.NotContains(t, b.get("/shelf").Body.String(), "rack B2", "it is poured away")
	b.says(b.get("/shelf"), "drum no. 24.", "the newest line of the used-fluid log")
	assert.NotContains(t, b.get("/shelf").Body.String(), "drum no. 4.", "only the newest lines")
	b.says(b.get("/shelf"), "expired on", "past its day")
	b.record(stamp(0), tag, loops.Entry{Kind: loops.KindTopUp, TopUp: &loops.TopUp{Poured: []loops.Pour{{Container: 1, Volume: 0.02}}}})
	b.says(b.get("/shelf/1"), string(tag), "went into")
	recall := b.get("/recall?lot=l7")
	for _, say := range []string{string(tag), "Ana Fern", "+351 910 000 000", "still in"} {
		b.says(recall, say, "recall")
	}
	b.says(b.get("/recall?lot=L8"), "No container and no charge has the lot", "unknown lot")
	b.says(b.get("/loops?lot=L7"), string(tag), "loops by lot")
	assert.NotContains(t, b.get("/loops?lot=L8").Body.String(), string(tag))

	before := b.bytesOnDisk()
	for name, change := range map[string]url.Values{
		"product": {"container.product": {""}}, "left": {"container.left": {"much"}}, "mass": {"container.mass": {"350"}}, "expires": {"container.expires": {"soon"}}, "kind": {"container.kind": {"vat"}},
	} {
		bad := url.Values{}
		maps.Copy(bad, form)
		maps.Copy(bad, change)
		w := b.post("/shelf", bad)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		b.says(w, `id="container-`+name+`-problem"`, name)
	}
	b.unchanged(before)
}

func TestLoopsAreFoundByWhatIsInThem(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	pg := b.ana()
	eg := b.register(machine{owner: loops.Owner{Name: "Bea Moss"}, name: "the white cube", kind: loops.Desktop, fluid: chemistry.EthyleneGlycol, mass: 0.4, wall: -20, daysAgo: 10})
	for query, want := range map[string][2]bool{
		"": {true, true}, "fluid=pg": {true, false}, "fluid=eg": {false, true}, "metal=copper": {true, true}, "metal=zinc": {false, false},
		"q=bea&metal=copper": {false, true}, "where=in+service": {true, true}, "where=retired": {false, false}, "sort=owner": {true, true},
	} {
		page := b.get("/loops?" + query).Body.String()
		assert.Equal(t, want[0], strings.Contains(page, string(pg.Loop.Tag)), query)
		assert.Equal(t, want[1], strings.Contains(page, string(eg.Loop.Tag)), query)
	}
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/loops?fluid=rum").Code)
}

func TestLongListsHavePages(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	for range 101 {
		_, err := b.shop.AddLoop(stamp(1), loops.Loop{Machine: file.Machine.ID, Name: "spare", Construction: file.Loop.Construction})
		require.NoError(t, err)
	}
	first := b.get("/loops").Body.String()
	assert.Contains(t, first, `href="/loops?page=2"`)
	assert.Equal(t, 50, strings.Count(first, `class="tag"`))
	third := b.get("/loops?page=3").Body.String()
	assert.Equal(t, 2, strings.Count(third, `class="tag"`))
	assert.Contains(t, third, `href="/loops?page=2"`)
	assert.Contains(t, b.get("/loops?metal=copper&page=2").Body.String(), "Page 2 of 3, 102 in all")
}

func TestSmallFormsOfALoop(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	path := "/loops/" + string(file.Loop.Tag)
	for _, tt := range []struct {
		act  string
		form url.Values
	}{
		{"readings", url.Values{"die": {"55"}, "room": {"21"}, "power": {"90"}, "verdict": {"good"}, "day": {"2026-12-01"}}},
		{"readings", url.Values{"die": {"56,5"}, "room": {"21"}, "power": {"90"}, "verdict": {"watch"}, "day": {"2026-12-03"}}},
		{"dose", url.Values{"role": {"inhibitor"}, "family": {"azole"}, "label-dose": {"10"}, "poured": {"5"}}},
		{"strike", url.Values{"entry": {"7"}, "why": {"another loop"}}},
		{"plan", url.Values{"task": {"look"}, "months": {"2"}, "why": {"children drop things into it"}}},
		{"plan", url.Values{"task": {"service check"}, "pause": {"yes"}, "why": {"abroad"}}},
		{"weigh", url.Values{"stage": {"later"}, "weight": {"1522"}}},
		{"note", url.Values{"note": {"the owner moves in May"}}},
	} {
		w := b.act(file.Loop.Tag, tt.act, tt.form)
		require.Equal(t, http.StatusSeeOther, w.Code, "%v: %s", tt, problemsIn(w))
	}
	state := b.file(file.Loop.Tag)
	assert.Len(t, state.History, len(file.History)+8)
	for _, a := range state.Loop.State.Charge.Additives {
		assert.Zero(t, a.DoseMLPerL, "the dose was struck out")
	}
	b.says(b.get(path), "children drop things into it", "the setting's reason in the plan")
	for _, task := range state.Loop.Plan.Tasks {
		assert.Equal(t, task.Kind == loops.ServiceCheck, task.Paused, task.Kind)
	}
	page := b.get(path)
	for _, say := range []string{"Thermal resistance", "0.394 K/W on Thu 3 Dec 2026", "The readings as a table", "Temperatures",
		"What the readings say", "total resistance", "0.394 ± ", "trend: the coolant was not steady", "The mount resistance cannot tell dry paste"} {
		b.says(page, say, "life")
	}
	before := b.bytesOnDisk()
	for name, form := range map[string]url.Values{
		"readings-die":       {"die": {"hot"}},
		"readings-day":       {"die": {"55"}, "day": {"2027-01-01"}},
		"strike-entry":       {"entry": {"99"}, "why": {"x"}},
		"strike-why":         {"entry": {"1"}, "why": {""}},
		"plan-months":        {"task": {"look"}},
		"plan-why":           {"task": {"look"}, "pause": {"yes"}},
		"plan-pause":         {"task": {"look"}, "pause": {"sometimes"}},
		"retire-reason":      {"reason": {"bored"}},
		"dose-poured":        {"role": {"biocide"}, "poured": {"lots"}},
		"swap-old-unit":      {"sealed": {"yes"}},
		"transfer-new-owner": {"new-owner": {"the neighbour"}},
		"weigh-weight":       {"stage": {"later"}},
		"note-note":          {"note": {" "}},
	} {
		act, _, _ := strings.Cut(name, "-")
		w := b.act(file.Loop.Tag, act, form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		b.says(w, `id="`+name+`-problem"`, name)
		b.says(w, `<a href="#`+name+`">`, "the list at the top links to "+name)
	}
	b.unchanged(before)

	b.says(b.get(path), "Take it out of service", "before")
	require.Equal(t, http.StatusSeeOther, b.act(file.Loop.Tag, "retire", url.Values{"reason": {"replaced by an air cooler"}, "stated-rating": {"165"}}).Code)
	assert.False(t, b.file(file.Loop.Tag).Loop.State.Retired.IsZero())
	w := b.get(path)
	b.says(w, "replaced by an air cooler", "in the history")
	assert.NotContains(t, w.Body.String(), "Take it out of service", "once is enough")
}

// Machine and loop are one change: where one of them cannot be written neither
// is.
func TestMachineAndLoopArePutRightTogether(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	was := b.ana()
	path := "/loops/" + string(was.Loop.Tag) + "/edit"
	form := formOf(t, b.get(path), "")
	form.Set("machine.name", "the blue tower")
	form.Set("loop.revision", fmt.Sprint(was.Loop.Revision+7)) // somebody else wrote the loop in between
	before := b.bytesOnDisk()
	assert.Equal(t, http.StatusConflict, b.post(path, form).Code)
	b.unchanged(before)
}

func TestMachineAndLoopArePutRight(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(url.Values{"loop.wetted-plating": {"nickel", ""}}))
	path := "/loops/" + string(tag) + "/edit"
	was := b.file(tag)
	w := b.get(path)
	require.Equal(t, http.StatusOK, w.Code)
	b.says(w, `value="the white cube"`, "machine")
	form := url.Values{
		"machine.kind": {"workstation"}, "machine.name": {"the white tower"}, "machine.warranty-asked": {"yes"}, "machine.warranty-note": {"expired"},
		"loop.sealed": {"no"}, "loop.holds": {"900"}, "loop.wall": {"-8"},
		"loop.wetted-part": {"cold plate", "radiator"}, "loop.wetted-metal": {"copper", ""}, "loop.wetted-plating": {"nickel", ""},
		"machine.revision": {fmt.Sprint(was.Machine.Revision)}, "loop.revision": {fmt.Sprint(was.Loop.Revision)},
	}
	w = b.post(path, form)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	is := b.file(tag)
	assert.Equal(t, "the white tower", is.Machine.Name)
	assert.True(t, is.Machine.WarrantyAsked)
	assert.Equal(t, was.Machine.Owner, is.Machine.Owner)
	assert.False(t, is.Loop.Sealed)
	assert.InDelta(t, 0.9, float64(is.Loop.Volume), 1e-9)
	assert.Equal(t, []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper, Plating: chemistry.Nickel}}, is.Loop.Wetted)
	assert.Equal(t, was.History, is.History)

	before := b.bytesOnDisk()
	assert.Equal(t, http.StatusSeeOther, b.post(path, form).Code, "sent twice it says what is on record")
	form.Set("machine.name", "the black tower")
	assert.Equal(t, http.StatusConflict, b.post(path, form).Code, "somebody wrote in between")
	form.Set("machine.name", "the white tower")
	form.Set("machine.revision", fmt.Sprint(is.Machine.Revision))
	form.Set("loop.revision", fmt.Sprint(is.Loop.Revision))
	for field, value := range map[string]string{"loop.holds": "lots", "machine.name": "", "machine.kind": "toaster", "loop.wall": "-200C"} {
		kept := form.Get(field)
		form.Set(field, value)
		w := b.post(path, form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, field)
		b.says(w, `id="`+strings.ReplaceAll(field, ".", "-")+`-problem"`, field)
		form.Set(field, kept)
	}
	b.unchanged(before)
}

// What the pages show of a record is what they take: a form that is sent as it
// was opened changes nothing, to the last digit.
func TestRecordsAreSentBackAsTheyWereShown(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	loop := file.Loop
	loop.Sealed = false
	loop.Volume, loop.VolumeKnown = 0.48025, loops.Known{How: loops.Measured, By: "jug @ the bench", On: loops.Day{Year: 2026, Month: 3, Dom: 4}, PlusMinus: 0.01}
	loop.Wetted = append(slices.Clone(loop.Wetted), loops.WettedPart{Part: "reservoir", Metal: chemistry.StainlessSteel}, loops.WettedPart{Part: "reservoir", Metal: chemistry.Copper, Plating: chemistry.Nickel})
	_, err := b.shop.Edit(stamp(1), workshop.Edit{Loop: &loop})
	require.NoError(t, err)
	file = b.file(loop.Tag)
	c, err := b.shop.AddContainer(stamp(1), loops.Container{Kind: loops.PremixBottle, Product: "Blue premix", Fluid: "pg", Mass: new(chemistry.MassFraction(0.40125)), Left: 1.23456, Note: "two\nlines"})
	require.NoError(t, err)

	path := "/loops/" + string(loop.Tag) + "/edit"
	form := formOf(t, b.get(path), "")
	assert.Equal(t, "no", form.Get("loop.sealed"), "a loop on record as open is shown as open")
	require.Equal(t, http.StatusSeeOther, b.post(path, form).Code)
	is := b.file(loop.Tag)
	assert.Equal(t, file.Loop.Construction, is.Loop.Construction)
	assert.Equal(t, file.Loop.Revision+1, is.Loop.Revision, "it was written")
	file.Machine.Revision++
	assert.Equal(t, file.Machine, is.Machine)

	require.Equal(t, http.StatusSeeOther, b.post("/shelf/1", formOf(t, b.get("/shelf/1"), "")).Code)
	again, err := b.shop.Container(c.ID)
	require.NoError(t, err)
	c.Revision++
	assert.Equal(t, c, again)

	require.Equal(t, http.StatusSeeOther, b.post("/owners/1", formOf(t, b.get("/owners/1"), "")).Code)
	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	file.Owner.Revision++
	assert.Equal(t, file.Owner, owner)
}

// A change of how a loop is built says on the page what its charge is then
// judged to be, also long after the hand-over.
func TestChangeOfALoopSaysTheVerdict(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	path := "/loops/" + string(tag) + "/edit"
	form := formOf(t, b.get(path), "")
	form.Set("loop.name", "upper")
	w := b.post(path, form)
	require.Equal(t, "/loops/"+string(tag), w.Header().Get("Location"), "a name changes no verdict")
	assert.NotContains(t, b.get(w.Header().Get("Location")).Body.String(), "as it is on record now")

	form = formOf(t, b.get(path), "")
	form.Set("loop.wall", "-45")
	w = b.post(path, form)
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	page := b.get(w.Header().Get("Location"))
	b.says(page, `<p class="verdict stop">stop</p>`, "verdict")
	b.says(page, "in the loop as it is on record now", "what was judged")
	assert.InDelta(t, -45, float64(*b.file(tag).Loop.ColdestWall), 0, "it is written all the same")
}

// Nobody has to say what nobody knows: what a loop holds is left out, and a
// figure says how it is known.
func TestIntakeLeavesOutWhatIsNotKnown(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.file(b.taken(intakeForm(url.Values{"loop.holds": {""}, "loop.wall": {"5"}, "loop.wall-known": {"owner says"}, "loop.wall-known:by": {"a heated hall"}}))).Loop
	assert.Zero(t, loop.Volume)
	assert.Equal(t, loops.Known{How: loops.OwnerSays, By: "a heated hall"}, loop.ColdestWallKnown)
}
