// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
)

func TestOpeningRefuses(t *testing.T) {
	t.Parallel()
	hash := strings.Repeat("ab", 32)
	photo := loops.OpeningPhoto{Hash: hash, When: loops.BeforeWork}
	tests := []struct {
		name    string
		opening loops.Opening
		field   string
	}{
		{"a cause of one's own", loops.Opening{Cause: "bad luck"}, "cause"},
		{"a colour of one's own", loops.Opening{Cause: loops.CauseClog, Colour: "murky"}, "colour"},
		{"a clarity of one's own", loops.Opening{Cause: loops.CauseClog, Clarity: "so-so"}, "clarity"},
		{"a smell of one's own", loops.Opening{Cause: loops.CauseClog, Smell: "bad"}, "smell"},
		{"a residue of one's own", loops.Opening{Cause: loops.CauseClog, Residues: []loops.Residue{{Kind: "gunk"}}}, "residue"},
		{"a place of one's own", loops.Opening{Cause: loops.CauseClog, Residues: []loops.Residue{{Kind: "green crust", Place: "there"}}}, "place"},
		{"a sixth step", loops.Opening{Cause: loops.CauseClog, Severity: new(loops.Severity(5))}, "severity"},
		{"a clean clog", loops.Opening{Cause: loops.CauseClog, Severity: new(loops.Clean)}, "severity"},
		{"clean with a residue", loops.Opening{Cause: loops.CauseNone, Severity: new(loops.Clean), Residues: []loops.Residue{{Kind: "green crust"}}}, "severity"},
		{"failed without a cause", loops.Opening{Cause: loops.CauseNone, FailedOn: loops.Day{Year: 2026, Month: 3, Dom: 1}}, "failed on"},
		{"the same photo twice", loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{photo, photo}}, "photo"},
		{"a photo by its path", loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{{Hash: "../x.jpg", When: loops.BeforeWork}}}, "photo"},
		{"a photo of no moment", loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{{Hash: hash, When: "meanwhile"}}}, "photo"},
		{"too many photos", loops.Opening{Cause: loops.CauseClog, Photos: slices.Repeat([]loops.OpeningPhoto{photo}, 13)}, "photo"},
		{"a bell in the words", loops.Opening{Cause: loops.CauseClog, Words: "\a"}, "words"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			e := loops.Entry{Kind: loops.KindOpening, Day: loops.Day{Year: 2026, Month: 3, Dom: 2}, By: "test", Opening: &tt.opening}
			var wrong *loops.InvalidError
			require.ErrorAs(t, e.Validate(), &wrong)
			assert.Equal(t, tt.field, wrong.Field)
			assert.NotEmpty(t, wrong.Reason)
		})
	}
}

// Every sign is a word that an opening can be recorded with, and carries a
// source and a grade; the readings are offered for what was seen and for
// nothing else.
func TestSigns(t *testing.T) {
	t.Parallel()
	for _, s := range loops.Signs() {
		known := slices.Contains(loops.ResidueKinds(), loops.ResidueKind(s.Sign))
		if s.Of == "liquid" {
			known = slices.Contains(loops.Colours(), loops.Colour(s.Sign))
		}
		assert.True(t, known, s.Sign)
		assert.NotEmpty(t, s.Reading, s.Sign)
		assert.NotEmpty(t, s.Ask, s.Sign)
		assert.NotEmpty(t, s.Source, s.Sign)
		assert.Contains(t, []string{"maker's guidance", "report", "practice page", "from memory"}, s.Grade, s.Sign)
	}
	o := loops.Opening{Cause: loops.CauseClog, Colour: "dark as tea", Clarity: "cloudy", Residues: []loops.Residue{{Kind: "green crust", Place: "cold plate fins"}}, Severity: new(loops.Narrowed)}
	require.Len(t, o.Signs(), 2)
	assert.Equal(t, "green crust", o.Signs()[0].Sign)
	assert.Equal(t, "practice page", o.Signs()[0].Grade)
	assert.Equal(t, "liquid dark as tea cloudy, green crust at cold plate fins, narrowed", o.Look())
	assert.Empty(t, (&loops.Opening{Cause: loops.CauseFan}).Signs())
}

func TestSeverityWords(t *testing.T) {
	t.Parallel()
	for _, s := range loops.Severities() {
		byWord, err := loops.ParseSeverity(s.String())
		require.NoError(t, err)
		assert.Equal(t, s, byWord)
		assert.NotEmpty(t, s.Means())
	}
	for _, c := range loops.Clarities() {
		assert.NotEmpty(t, c.Means())
	}
	_, err := loops.ParseSeverity("5")
	require.Error(t, err)
	assert.Equal(t, "severity 9", loops.Severity(9).String())
}

func TestParseResidue(t *testing.T) {
	t.Parallel()
	r, err := loops.ParseResidue("white gel or powder@cold plate fins")
	require.NoError(t, err)
	assert.Equal(t, loops.Residue{Kind: "white gel or powder", Place: "cold plate fins"}, r)
	again, err := loops.ParseResidue(strings.ReplaceAll(r.String(), " at ", "@"))
	require.NoError(t, err)
	assert.Equal(t, r, again)
	for _, bad := range []string{"", "gunk", "green crust@", "green crust@moon"} {
		_, err := loops.ParseResidue(bad)
		assert.Error(t, err, bad)
	}
}
