// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

// Parts, minutes and prices are lines that the job sheet takes and takes back, and
// that stand on the receipt and on the sheet that goes back with the machine.
func TestPartsMinutesAndPrices(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := b.taken(intakeForm(nil))
	acts, sheet := "/loops/"+string(tag)+"/acts/", "/loops/"+string(tag)+"/refill"
	line := func(more url.Values) url.Values {
		form := url.Values{"page": {"refill"}, "at": {"bill"}, "item": {"fan, 120 mm"}, "pieces": {"2"}, "price": {"24,50"}}
		maps.Copy(form, more)
		return form
	}
	w := b.post(acts+"work", line(nil))
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	assert.Equal(t, sheet+"#bill", w.Header().Get("Location"), "the sheet again, at the bill")
	for _, form := range []url.Values{
		line(url.Values{"item": {"cleaned the plate"}, "pieces": {""}, "minutes": {"40"}, "price": {"60"}, "covered": {"yes"}}),
		line(url.Values{"item": {"filled"}, "pieces": {""}, "minutes": {"20 min"}, "price": {""}}),
	} {
		require.Equal(t, http.StatusSeeOther, b.post(acts+"work", form).Code)
	}
	cells := regexp.MustCompile(`<[^>]*>|\s+`)
	said := func(path string) string {
		page := b.get(path).Body.String()
		_, bill, ok := strings.Cut(page, `<table class="numbers bill">`)
		require.True(t, ok, path)
		bill, _, _ = strings.Cut(bill, "</section>")
		return strings.Join(strings.Fields(cells.ReplaceAllString(bill, " ")), " ")
	}
	for _, path := range []string{sheet, "/loops/" + string(tag) + "/receipt", "/loops/" + string(tag) + "/handover"} {
		says := said(path)
		assert.Contains(t, says, "fan, 120 mm 2 24.50", path)
		assert.Contains(t, says, "our own warranty: not charged 40 60.00", path)
		assert.Contains(t, says, "Together 60 24.50 1 of the lines has no price yet.", path)
	}
	assert.Contains(t, b.get("/loops/"+string(tag)).Body.String(), "Work: “fan, 120 mm”; 2\u00a0pieces; price 24.50.")

	require.Equal(t, http.StatusSeeOther, b.post(acts+"work", line(url.Values{"item": {"fan grille"}, "pieces": {"1"}, "price": {""}})).Code)
	assert.Contains(t, b.get("/loops/"+string(tag)).Body.String(), "Work: “fan grille”; 1\u00a0piece.")

	for name, form := range map[string]url.Values{
		"pieces":  line(url.Values{"pieces": {"two"}}),
		"price":   line(url.Values{"price": {"24.505"}}),
		"minutes": line(url.Values{"pieces": {""}, "price": {""}}),
		"item":    line(url.Values{"item": {""}}),
	} {
		w := b.post(acts+"work", form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		assert.Contains(t, w.Body.String(), `href="#work-`+name, name)
		assert.Contains(t, w.Body.String(), `id="work-`+name+`" name="`+name+`"`, name)
	}
	last := b.file(tag).History
	require.Equal(t, loops.KindWork, last[len(last)-1].Kind)
	w = b.post(acts+"strike", url.Values{"page": {"refill"}, "at": {"bill"}, "entry": {"5"}, "why": {"taken back at once"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	assert.NotContains(t, said(sheet), "filled")
	assert.Contains(t, said(sheet), "Together 40 24.50")
}

// What the workshop stands for is on the sheet that goes back, and known when the
// machine comes in again.
func TestOwnWarranty(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag := string(file.Loop.Tag)
	assert.NotContains(t, b.get("/loops/"+tag+"/handover").Body.String(), "Our warranty on this work")
	today := loops.DayOf(b.now, b.settings().Zone)
	w := b.post("/loops/"+tag+"/acts/handover", url.Values{"mail-consent": {"yes"}, "own-warranty": {"6"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	until := today.AddMonths(6).Long()
	assert.Contains(t, b.get("/loops/"+tag+"/handover").Body.String(), "Our warranty on this work runs until "+until)
	b.taken(url.Values{"tag": {tag}, "intake.complaint": {"hot again"}})
	assert.Contains(t, b.get("/loops/"+tag+"/receipt").Body.String(), "on our last work, until "+until)
	assert.Contains(t, b.get("/loops/"+tag+"/refill").Body.String(), "Our own warranty on the last work runs until "+until)
	b.now = b.now.AddDate(0, 7, 0)
	assert.NotContains(t, b.get("/loops/"+tag+"/refill").Body.String(), "Our own warranty on the last work")
}

// A line that is written once the machine has gone back belongs to that visit, and
// a new owner has none of the former one's.
func TestABillIsOfOneVisitAndOneOwner(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	tag := string(b.taken(intakeForm(nil)))
	act := func(name string, form url.Values) {
		t.Helper()
		w := b.post("/loops/"+tag+"/acts/"+name, form)
		require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	}
	act("return", url.Values{"why": {"wants it back as it is"}})
	act("work", url.Values{"item": {"looked at the pump"}, "price": {"10"}})
	assert.Contains(t, b.get("/loops/"+tag+"/handover").Body.String(), "looked at the pump")
	b.taken(url.Values{"tag": {tag}, "intake.complaint": {"hot again"}})
	assert.NotContains(t, b.get("/loops/"+tag+"/receipt").Body.String(), "looked at the pump")

	act("work", url.Values{"item": {"pump, fitted"}, "price": {"80"}})
	buyer, err := b.shop.AddOwner(stamp(0), loops.Owner{Name: "Bea Moss"})
	require.NoError(t, err)
	act("transfer", url.Values{"new-owner": {fmt.Sprint(buyer.ID)}})
	act("return", url.Values{"why": {"fetched by the new owner"}})
	for _, path := range []string{"/handover", "/receipt"} {
		assert.NotContains(t, b.get("/loops/"+tag+path).Body.String(), "80.00", path)
	}
}

// A hand-over that was struck out promises nothing, on no page.
func TestAStruckHandoverPromisesNothing(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	tag := string(file.Loop.Tag)
	w := b.post("/loops/"+tag+"/acts/handover", url.Values{"mail-consent": {"yes"}, "own-warranty": {"6"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	handover := b.file(file.Loop.Tag).Loop.LastEntry
	b.taken(url.Values{"tag": {tag}, "intake.complaint": {"hot again"}})
	assert.Contains(t, b.get("/loops/"+tag+"/receipt").Body.String(), "on our last work")
	w = b.post("/loops/"+tag+"/acts/strike", url.Values{"entry": {fmt.Sprint(handover)}, "why": {"another machine's"}})
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	assert.NotContains(t, b.get("/loops/"+tag+"/receipt").Body.String(), "on our last work")
}
