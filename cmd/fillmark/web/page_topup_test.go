// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestTopUpCheckAnswersWithoutChangingAnything(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	before := b.bytesOnDisk()
	for _, tt := range []struct {
		name, query string
		status      int
		says        []string
	}{
		{"blank", "", http.StatusOK, []string{"Which loop, and what is in it?", ">Check<"}},
		{"go", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=20&liquid1=water", http.StatusOK, []string{`verdict big go`, "dilution water", "Enter as done", "the grey tower"}},
		{"stop", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=20&liquid1=eg&strength1=95", http.StatusOK, []string{`verdict big stop`, "stop: never mix the two glycols", "ASTM D3321"}},
		{"measured", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=20&liquid1=water&kind=brix&reading=24,5&sample=21", http.StatusOK, []string{"verdict big", "How the reading was worked out", "no scale is right"}},
		{"described", "ask=yes&fluid=pg&holds=520&room=30&kind=mass&reading=40&liquid1=water&wall=-5", http.StatusOK, []string{"verdict big"}},
		{"grams first", "ask=yes&fluid=pg&holds=520&room=60&kind=mass&reading=35&liquid1=pg&strength1=95&wall=-15", http.StatusOK, []string{"<strong>65\u00a0g</strong> (63\u00a0ml) of propylene glycol"}},
		{"another fluid than on record", "ask=yes&tag=" + string(file.Loop.Tag) + "&fluid=eg&room=20&liquid1=water", http.StatusUnprocessableEntity, []string{"this loop is on record with propylene glycol"}},
		{"no tag", "ask=yes&room=20", http.StatusUnprocessableEntity, []string{"the six symbols on the label, or describe the loop"}},
		{"mistyped", "ask=yes&tag=7K3QXX&room=20", http.StatusUnprocessableEntity, []string{"the last one does not fit the first five", `value="7K3QXX"`}},
		{"words for a figure", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=some&liquid1=water", http.StatusUnprocessableEntity, []string{`value="some"`, "Expected: a volume such as 600ml"}},
		{"no strength", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=20&liquid1=pg", http.StatusUnprocessableEntity, []string{"by its label, such as 95; none in water"}},
		{"impossible reading", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=20&liquid1=water&kind=brix&reading=94", http.StatusUnprocessableEntity, []string{`id="reading-problem"`}},
		{"nothing at hand", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=20", http.StatusUnprocessableEntity, []string{`id="liquid1-problem"`, "what is at hand to fill it up"}},
		{"more room than it holds", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=620&liquid1=water", http.StatusUnprocessableEntity, []string{`id="room-problem"`, `href="#room"`, "less than the loop holds full, 600 ml"}},
		{"room in litres", "ask=yes&tag=" + string(file.Loop.Tag) + "&room=0.04&liquid1=water", http.StatusUnprocessableEntity, []string{`id="room-problem"`, "0.04 l are 40 ml"}},
		{"back to the questions", "draft=yes&ask=yes&tag=" + string(file.Loop.Tag) + "&room=20&liquid1=water", http.StatusOK, []string{`value="20"`, ">Check<"}},
		{"no room", "ask=yes&tag=" + string(file.Loop.Tag), http.StatusUnprocessableEntity, []string{"what is missing up to the mark"}},
	} {
		w := b.get("/topup?" + tt.query)
		assert.Equal(t, tt.status, w.Code, tt.name)
		for _, say := range tt.says {
			b.says(w, say, tt.name)
		}
	}
	b.unchanged(before)
}

func TestTopUpIsEnteredAsItWasPoured(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	w := b.post("/topup", url.Values{
		"tag": {string(file.Loop.Tag)}, "room": {"40"}, "liquid1": {"water"}, "kind": {"mass"}, "reading": {"36"}, "poured.poured:water": {"15,5"}, "poured.note": {"bled twice"},
	})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	assert.Equal(t, "/loops/"+string(file.Loop.Tag), w.Header().Get("Location"))
	history := b.file(file.Loop.Tag).History
	topUp := history[len(history)-1]
	require.Equal(t, loops.KindTopUp, topUp.Kind)
	require.Len(t, topUp.TopUp.Poured, 1)
	assert.InDelta(t, 0.0155, float64(topUp.TopUp.Poured[0].Volume), 1e-9)
	assert.InDelta(t, 0.0245, float64(topUp.TopUp.Missing), 1e-9, "what still lacks to the mark")
	assert.Equal(t, "bled twice", topUp.Note)
	assert.Equal(t, loops.KindInspection, history[len(history)-2].Kind, "what was measured is on record too")
	assert.Equal(t, 1, b.wakes)
}

// What was taken out first goes into the used-fluid log, so the page asks where
// it went.
func TestTopUpThatDrainsFirst(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	form := url.Values{"tag": {tag}, "room": {"40"}, "liquid1": {"water"}, "poured.poured:water": {"30"}, "poured.drained": {"15"}}
	before := b.bytesOnDisk()
	w := b.post("/topup", form)
	assert.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, `id="poured-went-problem"`, "where it went")
	b.unchanged(before)
	form.Set("poured.went", "glycol drum")
	require.Equal(t, http.StatusSeeOther, b.post("/topup", form).Code)
	lines, err := b.shop.UsedFluid(0)
	require.NoError(t, err)
	require.Len(t, lines, 1)
	assert.InDelta(t, 0.015, float64(lines[0].Volume), 1e-9)
	assert.Equal(t, "glycol drum", lines[0].Went)
	b.says(b.get("/shelf"), "glycol drum", "the log")
}

func TestTopUpFromTheShelfIsTakenFromIt(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	container, err := b.shop.AddContainer(stamp(3), loops.Container{Kind: loops.PremixBottle, Product: "Blue premix", Lot: "L7", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.35)), Left: 0.5})
	require.NoError(t, err)
	w := b.post("/topup", url.Values{"tag": {string(file.Loop.Tag)}, "room": {"40"}, "liquid1": {"container:1"}, "poured.poured:1": {"20"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	container, err = b.shop.Container(container.ID)
	require.NoError(t, err)
	assert.InDelta(t, 0.48, float64(container.Left), 1e-9)
}

func TestTopUpThatMayNotBeIsNotEntered(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.ana().Loop.Tag)
	before := b.bytesOnDisk()
	eg := url.Values{"tag": {tag}, "room": {"20"}, "liquid1": {"eg"}, "strength1": {"95"}, "poured.poured:eg:95%": {"20"}}
	w := b.post("/topup", eg)
	require.Equal(t, http.StatusConflict, w.Code)
	b.says(w, "It is already done: record it", "the way out")
	b.unchanged(before)
	for name, form := range map[string]url.Values{
		"nothing poured": {"tag": {tag}, "room": {"20"}, "liquid1": {"water"}},
		"no loop":        {"fluid": {"pg"}, "holds": {"500"}, "room": {"20"}, "liquid1": {"water"}, "poured.poured:water": {"20"}},
		"no container":   {"tag": {tag}, "room": {"20"}, "liquid1": {"container:x"}, "poured.poured:x": {"20"}},
		"hostile":        {"tag": {hostile}, "room": {hostile}, "liquid1": {hostile}, "strength1": {hostile}, "poured.poured:" + hostile: {hostile}, "poured.note": {hostile}},
	} {
		w := b.post("/topup", form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		assert.NotContains(t, w.Body.String(), "<script>alert", name)
	}
	b.unchanged(before)
	assert.Zero(t, b.wakes)
	eg.Set("poured.already-done", "yes")
	require.Equal(t, http.StatusSeeOther, b.post("/topup", eg).Code, "what was poured can be recorded")
	assert.NotNil(t, b.file(loops.Tag(tag)).Loop.State.Contaminated)
	b.says(b.get("/loops/"+tag+"/label"), "Contaminated", "label")
}

// The first press changes what the acts of the form are made of: how much lacks, the
// fluid that was in it. The second press is the same form all the same.
func TestTopUpPressedTwiceIsOne(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.ana().Loop.Tag
	form := url.Values{"tag": {string(tag)}, "room": {"40"}, "liquid1": {"water"}, "poured.poured:water": {"15"}, "poured.key": {"pressed"}}
	first := b.post("/topup", form)
	require.Equal(t, http.StatusSeeOther, first.Code, problemsIn(first))
	was := b.file(tag).History
	again := b.post("/topup", form)
	require.Equal(t, http.StatusSeeOther, again.Code, problemsIn(again))
	assert.Equal(t, was, b.file(tag).History)

	// What is left to the mark is by chance what was typed before.
	form.Set("poured.key", "another")
	form.Set("room", "25")
	form.Set("poured.poured:water", "5")
	for range 2 {
		w := b.post("/topup", form)
		require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	}
	was = b.file(tag).History
	form.Set("poured.poured:water", "6")
	w := b.post("/topup", form)
	require.Equal(t, http.StatusConflict, w.Code)
	b.says(w, "This form was sent before and is on record, with something else under", "the field is named")
	assert.Equal(t, was, b.file(tag).History)
}
