// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/photos"
)

// parts writes a form's fields as parts of a multipart one.
func parts(fields map[string][]string, more ...part) []part {
	var all []part
	for name, values := range fields {
		for _, value := range values {
			all = append(all, part{name, value, ""})
		}
	}
	return append(all, more...)
}

func TestOwnerSendsAPhoto(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	assert.Contains(t, b.get(link).Body.String(), `enctype="multipart/form-data"`)
	b.technician("Bo")
	off := []part{{"answer", "off", ""}, {"words", "a wet spot", ""}}
	require.Equal(t, http.StatusSeeOther, b.send(link, append(off, part{"photo", aPhoto(t, 70), "IMG.jpg"})...).Code)

	file = b.file(file.Loop.Tag)
	answer := file.History[len(file.History)-1]
	require.Equal(t, loops.KindAnswer, answer.Kind)
	assert.Equal(t, "a wet spot", answer.Answer.Words)
	assert.Equal(t, []string{answer.Answer.Photo}, answer.PhotoHashes())
	assert.True(t, slices.ContainsFunc(file.Loop.Plan.Tasks, func(task loops.Task) bool {
		return strings.Contains(task.Binding().Text, "something is off; answered on Thu 3 Dec 2026, with a photo.")
	}), "the technician's list says so")
	b.says(b.get(link), "Your photo is with it.", "the owner's page")
	small := "/photos/" + answer.Answer.Photo + "-small.jpg"
	assert.NotEqual(t, http.StatusOK, b.get(small).Code, "photos are the workshop's")

	b.signIn("Bo")
	require.Equal(t, http.StatusOK, b.get(small).Code)
	history := b.get("/loops/" + string(file.Loop.Tag))
	b.says(history, "something is off, with a photo.", "history")
	b.says(history, small, "history")

	n := len(file.History)
	require.Equal(t, http.StatusSeeOther, b.send(link, append(off, part{"photo", aPhoto(t, 70), "IMG.jpg"})...).Code)
	assert.Len(t, b.file(file.Loop.Tag).History, n, "sent twice, said once")
	require.Equal(t, http.StatusSeeOther, b.send(link, part{"answer", "off", ""}, part{"words", "and it hums", ""}, part{"photo", "", ""}).Code)
	assert.Len(t, b.file(file.Loop.Tag).History, n+1, "a photo is no must")
}

func TestOwnersPhotoIsRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link, before := b.ownerLink(file.Owner), b.bytesOnDisk()
	for _, tt := range []struct {
		name  string
		parts []part
		says  string
	}{
		{"with all is fine", []part{{"answer", "fine", ""}, {"photo", aPhoto(t, 1), "a.jpg"}}, "only where something is off"},
		{"two", []part{{"answer", "off", ""}, {"photo", aPhoto(t, 1), "a.jpg"}, {"photo", aPhoto(t, 2), "b.jpg"}}, "at most 1 at a time"},
		{"no button", []part{{"photo", aPhoto(t, 1), "a.jpg"}}, "one of the buttons"},
		{"a long field", []part{{"answer", "off", ""}, {"words", strings.Repeat("x", 9<<10), ""}}, "at most 8192 bytes"},
		{"long words", []part{{"answer", "off", ""}, {"words", strings.Repeat("x", 2001), ""}}, "Not sent yet"},
	} {
		w := b.send(link, tt.parts...)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, tt.name)
		b.says(w, tt.says, tt.name)
		assert.NotContains(t, w.Body.String(), "<svg onload", tt.name)
		b.now = b.now.Add(time.Minute)
	}
	assert.Equal(t, http.StatusNotFound, b.send(link+"x", part{"answer", "off", ""}, part{"photo", aPhoto(t, 1), "a.jpg"}).Code)
	b.unchanged(before)
	assert.False(t, b.settings().Photos.Has(photos.Hash([]byte(aPhoto(t, 1)))))
	assert.NoDirExists(t, string(b.settings().Photos), "nothing refused is kept")

}

// An answer is on record whatever its photo is, and its owner reads what is
// wrong with the photo in words to act on.
func TestOwnersAnswerIsKeptWithoutItsPhoto(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	link := b.ownerLink(file.Owner)
	for i, tt := range []struct {
		name, photo, says string
	}{
		{"no picture", "letter", "JPEG, PNG or WebP"},
		{"drawing", "<svg onload='alert(1)'/>", "SVG are not taken"},
		{"200 megapixels", hugePNG(), "at most 50 megapixels"},
	} {
		w := b.send(link, part{"answer", "off", ""}, part{"words", tt.name, ""}, part{"photo", tt.photo, "a.jpg"})
		require.Equal(t, http.StatusOK, w.Code, tt.name)
		b.says(w, "What you told us is on record. The photo is not", tt.name)
		b.says(w, tt.says, tt.name)
		assert.NotContains(t, w.Body.String(), "<svg onload", tt.name)
		history := b.file(file.Loop.Tag).History
		require.Len(t, history, len(file.History)+i+1)
		assert.Equal(t, tt.name, history[len(history)-1].Answer.Words)
		assert.Empty(t, history[len(history)-1].Answer.Photo)
	}
	assert.NoDirExists(t, string(b.settings().Photos), "nothing refused is kept")

	// Looking at a file is the work, so the three that were no photos count.
	with, without := 0, 0
	for i := range 8 {
		words := strconv.Itoa(i)
		b.send(link, part{"answer", "off", ""}, part{"words", words, ""}, part{"photo", aPhoto(t, uint8(100+i)), "a.jpg"})
		history := b.file(file.Loop.Tag).History
		last := history[len(history)-1].Answer
		require.Equal(t, words, last.Words, "said, with its photo or without")
		if last.Photo == "" {
			without++
		} else {
			with++
		}
	}
	assert.Equal(t, []int{3, 5}, []int{with, without})
}

func TestIntakeTakesPhotos(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	photo := func(tone uint8) part { return part{"photo", aPhoto(t, tone), "in.jpg"} }
	w := b.send("/intake", parts(intakeForm(nil), photo(10), photo(20), photo(20))...)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	tag := loops.Tag(strings.Split(w.Header().Get("Location"), "/")[2])
	intake := b.file(tag).History[0].Intake
	require.Len(t, intake.Photos, 2, "the same photo once")
	b.says(b.get("/loops/"+string(tag)), "photos ", "history")

	bad := intakeForm(map[string][]string{"loop.holds": {"much"}})
	w = b.send("/intake", parts(bad, photo(30))...)
	require.Equal(t, http.StatusUnprocessableEntity, w.Code)
	b.says(w, `name="kept" value="`, "the photo need not be sent again")
	known := intakeForm(map[string][]string{"owner_id": {"new"}}) // another of that name
	before := b.bytesOnDisk()
	for name, tt := range map[string]struct {
		parts []part
		says  string
	}{
		"no picture": {parts(known, part{"photo", "letter", "a.jpg"}), "JPEG, PNG or WebP"},
		"five":       {parts(known, photo(1), photo(2), photo(3), photo(4), photo(5)), "at most 4 at a time"},
		"never kept": {parts(known, part{"kept", strings.Repeat("0", 64), ""}), "uploaded before"},
		"no hash":    {parts(known, part{"kept", "../x", ""}), "64 hexadecimal digits"},
	} {
		w := b.send("/intake", tt.parts...)
		assert.Equal(t, http.StatusUnprocessableEntity, w.Code, name)
		b.says(w, tt.says, name)
	}
	b.unchanged(before)

	w = b.send("/intake", part{"tag", string(tag), ""}, part{"intake.complaint", "again", ""}, photo(40))
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	history := b.file(tag).History
	assert.Len(t, history[len(history)-1].Intake.Photos, 1)
}
