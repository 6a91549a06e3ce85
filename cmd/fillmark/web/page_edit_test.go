// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package web_test

import (
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// Two technicians change one record: the second sees both versions side by side,
// with all that was typed, and may put theirs on record with one more press.
func TestEditKeepsBothVersions(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	path := "/loops/" + string(file.Loop.Tag) + "/edit"
	form := formOf(t, b.get(path), "")
	form.Set("machine.name", "the blue tower")
	form.Set("loop.holds", "512")
	other := file.Machine
	other.Name, other.Maker = "the red tower", "Tidewater"
	_, err := b.shop.Edit(stamp(0), workshop.Edit{Machine: &other})
	require.NoError(t, err)
	before := b.bytesOnDisk()

	w := b.post(path, form)
	require.Equal(t, http.StatusConflict, w.Code, w.Body)
	for _, say := range []string{
		"Somebody changed this while you were typing", "<td><bdi>the red tower</bdi></td><td><bdi>the blue tower</bdi></td>", "<td><bdi>Tidewater</bdi></td>",
		`value="the blue tower"`, `value="512"`, fmt.Sprintf(`name="machine.revision" value="%d"`, file.Machine.Revision+1),
	} {
		b.says(w, say, "both versions")
	}
	b.unchanged(before)

	form.Set("machine.revision", fmt.Sprint(file.Machine.Revision+1))
	require.Equal(t, http.StatusSeeOther, b.post(path, form).Code)
	assert.Equal(t, "the blue tower", b.file(file.Loop.Tag).Machine.Name)
}

// The same form sent twice is one edit, whatever follows from it: a volume that
// was typed is measured from then on, which the form could not say. Another
// volume in the second one is a conflict all the same.
func TestEditPressedTwice(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	path := "/loops/" + string(file.Loop.Tag) + "/edit"
	form := formOf(t, b.get(path), "")
	form.Set("loop.holds", "512")
	form.Set("loop.wall", "-14")
	require.Equal(t, http.StatusSeeOther, b.post(path, form).Code)
	once := b.file(file.Loop.Tag).Loop
	assert.Equal(t, loops.Measured, once.VolumeKnown.How)
	before := b.bytesOnDisk()
	w := b.post(path, form)
	require.Equal(t, http.StatusSeeOther, w.Code, w.Body)
	b.unchanged(before)
	assert.Equal(t, once, b.file(file.Loop.Tag).Loop)
	form.Set("loop.holds", "513")
	assert.Equal(t, http.StatusConflict, b.post(path, form).Code)
}

// A box that is not ticked sends nothing, and still it takes a seal off the record.
func TestEditTakesTheLastSealOff(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	file := b.ana()
	loop := file.Loop
	loop.Materials = chemistry.Materials()[:1]
	_, err := b.shop.Edit(stamp(0), workshop.Edit{Loop: &loop})
	require.NoError(t, err)
	path := "/loops/" + string(file.Loop.Tag) + "/edit"
	form := formOf(t, b.get(path), "")
	require.True(t, form.Has("loop.material"))
	form.Del("loop.material")
	require.Equal(t, http.StatusSeeOther, b.post(path, form).Code)
	assert.Empty(t, b.file(file.Loop.Tag).Loop.Materials)
}
