// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"maps"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func unitsForm(more url.Values) url.Values {
	form := url.Values{"key": {"sheet"}, "model": {"T1"}, "maker": {"Heron"}, "count": {"12"}, "units": {"B-14, the old school\r\nB-15"}, "fill.filled-to": {"2023-06-30"}}
	maps.Copy(form, more)
	return form
}

// A sheet of donor units leads to a sheet of their labels, and is one entry
// however often it is sent.
func TestUnitsOnOneSheet(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	w := b.post("/intake/units", unitsForm(nil))
	require.Equal(t, http.StatusSeeOther, w.Code, problemsIn(w))
	labels := w.Header().Get("Location")
	address, err := url.Parse(labels)
	require.NoError(t, err)
	tags := address.Query()["tag"]
	require.Len(t, tags, 12)
	first := b.file(loops.Tag(tags[0]))
	assert.Equal(t, []string{"T1, B-14", "Heron", string(loops.DonorUnit)}, []string{first.Machine.Name, first.Machine.Maker, string(first.Machine.Kind)})
	assert.Equal(t, loops.Factory, first.Loop.State.Charge.Origin)
	assert.Contains(t, b.get("/loops/"+tags[0]).Body.String(), "comes from the old school")
	assert.Equal(t, "T1, 12", b.file(loops.Tag(tags[11])).Machine.Name)
	assert.Equal(t, labels, b.post("/intake/units", unitsForm(nil)).Header().Get("Location"), "the same sheet is one entry")

	page := b.get(labels).Body.String()
	assert.Equal(t, 12, strings.Count(page, `class="label-card"`))
	for _, tag := range tags {
		assert.Contains(t, page, `<p class="label-tag">`+tag)
	}
	assert.Equal(t, 2, strings.Count(page, `class="labels size-a4"`), "nine on a sheet")
	from := b.get(labels + "&size=a4&place=9").Body.String()
	assert.Equal(t, 8, strings.Count(from, `class="label-used`))
	assert.Equal(t, 3, strings.Count(from, `class="labels size-a4"`), "1, 9 and 2")
	assert.Equal(t, 12, strings.Count(b.get(labels+"&size=62").Body.String(), `class="label-card"`))

	w = b.post("/intake/units", unitsForm(url.Values{"count": {"13"}}))
	assert.Equal(t, http.StatusConflict, w.Code)
	b.says(w, "Expected: the units of this sheet as it was sent first are on record: leave their lines out, or they are recorded twice", "by the lines")
	b.says(w, `maxlength="20000"`, "45 lines have room")
	assert.NotContains(t, w.Body.String(), `name="key" value="sheet"`, "sent again it is another sheet")
}

func TestUnitsAreRefusedTogether(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	before := b.bytesOnDisk()
	for name, tt := range map[string]struct {
		form url.Values
		says string
	}{
		"nothing":     {url.Values{}, "how many units there are"},
		"no model":    {unitsForm(url.Values{"model": {""}}), "the model of the units"},
		"too many":    {unitsForm(url.Values{"count": {"46"}}), "1 to 45"},
		"twice":       {unitsForm(url.Values{"units": {"a\nb\nA"}}), "no other line has"},
		"a long mark": {unitsForm(url.Values{"units": {"a\n" + strings.Repeat("x", 300)}}), "units"},
		"a wrong day": {unitsForm(url.Values{"fill.filled-to": {"in June"}}), "in June"},
		"to come":     {unitsForm(url.Values{"fill.filled-to": {"2031-01-01"}}), "2031-01-01"},
	} {
		w := b.post("/intake/units", tt.form)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		assert.Contains(t, w.Body.String(), tt.says, name)
		assert.Contains(t, w.Body.String(), tt.form.Get("maker"), "what was typed is kept")
	}
	b.unchanged(before)
	assert.Equal(t, http.StatusUnprocessableEntity, b.get("/labels").Code)
	assert.Equal(t, http.StatusNotFound, b.get("/labels?tag=7K3QXW").Code)
}
