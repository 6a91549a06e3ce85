// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
)

// Erasing an owner deletes the files of photos that only their intakes and
// answers named. What an opened loop showed stays.
func TestEraseDeletesThePhotosOfAnOwner(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(t.TempDir(), "register.db")
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, h.Close()) })
	photo := func(tone uint8) string {
		img := image.NewGray(image.Rect(0, 0, 20, 20))
		img.SetGray(3, 3, color.Gray{Y: tone})
		var file bytes.Buffer
		require.NoError(t, png.Encode(&file, img))
		kept, err := h.Workshop.KeepPhoto("a.png", &file)
		require.NoError(t, err)
		return kept.Hash
	}
	theirs, sent, both, opened := photo(60), photo(120), photo(180), photo(240)

	s := workshop.Stamp{At: testNow().UTC(), By: "local:test"}
	day := loops.DayOf(s.At, time.UTC).AddDays(-40)
	var owner loops.OwnerID
	for _, name := range []string{"Ana Ruizado", "Bo Lindgrenn"} {
		kept, err := h.Workshop.AddOwner(s, loops.Owner{Name: name, Consent: loops.Consent{Opening: true}})
		require.NoError(t, err)
		machine, err := h.Workshop.AddMachine(s, loops.Machine{Owner: kept.ID, Kind: loops.Desktop, Name: "tower"})
		require.NoError(t, err)
		loop, err := h.Workshop.AddLoop(s, loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5}})
		require.NoError(t, err)
		entries := []loops.Entry{{Kind: loops.KindIntake, Intake: &loops.Intake{Photos: []string{both}}}}
		if owner == 0 {
			owner = kept.ID
			entries = []loops.Entry{
				{Kind: loops.KindIntake, Intake: &loops.Intake{Photos: []string{theirs, both}}},
				{Kind: loops.KindFill, Fill: &loops.Fill{Charge: loops.Charge{Origin: loops.Factory, FilledFrom: day, FilledTo: day}}},
				{Kind: loops.KindAnswer, Answer: &loops.Answer{Answer: loops.SomethingOff, Photo: sent}},
				{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{{Hash: opened, When: loops.BeforeWork}}}},
			}
		}
		for _, e := range entries {
			if e.Kind == loops.KindAnswer {
				theirs, err := h.Store.Owner(owner)
				require.NoError(t, err)
				_, err = h.Workshop.AnswerAbout(s, theirs, *e.Answer, loop.Tag)
				require.NoError(t, err)
				continue
			}
			act, ok := acts.Entered(e)
			require.True(t, ok, e.Kind)
			_, err := h.Workshop.Act(s, loop.Tag, act)
			require.NoError(t, err, e.Kind)
		}
	}

	k := h.keeper
	named, err := k.Photos(t.Context(), 0)
	require.NoError(t, err)
	assert.Len(t, named, 4)
	of2, err := k.Photos(t.Context(), 2)
	require.NoError(t, err)
	require.Len(t, of2, 1, "also named by another owner's loop")
	assert.Equal(t, both, of2[0].Hash)
	_, err = k.EraseOwner(t.Context(), owner, s.By, s.At, false)
	require.NoError(t, err)
	for hash, there := range map[string]bool{theirs: false, sent: false, both: true, opened: true} {
		assert.Equal(t, there, k.photos().Has(hash))
	}
	report, err := k.Check(t.Context())
	require.NoError(t, err)
	assert.True(t, report.OK, "%v", report)
}
