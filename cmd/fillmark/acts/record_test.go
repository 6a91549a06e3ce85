// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package acts_test

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/loops"
)

// sample is something that the field can be told.
func typedSample(t *testing.T, f acts.Field) []string {
	t.Helper()
	if f.Type == acts.Truth {
		return []string{"yes"}
	}
	if len(f.Choices) > 0 && f.Word != "HOW[=BY][@DAY]" {
		return []string{f.Choices[len(f.Choices)-1]}
	}
	text, ok := map[string]string{
		"TEXT": "words", "NUMBER": "3", "VOLUME": "480.5ml", "TEMPERATURE": "-10.5C", "DIFFERENCE": "6K", "LENGTH": "10mm",
		"PERCENT": "39.4%", "DAY": "2026-03-14", "FLUID": "pg", "HOW[=BY][@DAY]": "label=the maker's sheet@2026-03-14", "PART:METAL[/PLATING]": "cold plate:copper/nickel", "LINE": "30%:-14C:22.5brix:1.029kg/l",
	}[f.Word]
	require.True(t, ok, "no sample of %s for %s", f.Word, f.Name)
	if f.Many {
		return []string{text, text}
	}
	return []string{text}
}

// aboutRecord tells every field of a record something, one after the other, and
// looks at what follows. Given are the Go fields that only the register writes.
func aboutRecord[T any](t *testing.T, r acts.Record[T], given ...string) (full T) {
	t.Helper()
	for _, f := range r.Fields() {
		texts := typedSample(t, f)
		var alone T
		require.NoError(t, r.Read(&alone, acts.Said{f.Name: texts}), f.Name)
		assert.Equal(t, texts, r.Say(alone)[f.Name], "%s is told as it was said", f.Name)
		changed := r.Changed(*new(T), alone)
		require.Len(t, changed, 1, f.Name)
		assert.Equal(t, f.Name, changed[0].Name)
		raw, err := json.Marshal(alone)
		require.NoError(t, err)
		var back T
		require.NoError(t, json.Unmarshal(raw, &back), f.Name)
		assert.Equal(t, alone, back, "%s stands in the JSON", f.Name)

		var again T
		cell, err := f.FromCell(f.ToCell(texts))
		require.NoError(t, err, f.Name)
		require.NoError(t, r.Read(&again, acts.Said{f.Name: cell}), f.Name)
		assert.Equal(t, alone, again, "%s comes back from a table", f.Name)

		require.NoError(t, r.Read(&again, acts.Said{f.Name: {""}}), f.Name)
		assert.Empty(t, r.Changed(*new(T), again), "%s can be emptied", f.Name)
		require.NoError(t, r.Read(&full, acts.Said{f.Name: texts}), f.Name)
	}
	assert.ElementsMatch(t, given, unsaid("", reflect.ValueOf(full)), "what no field of the %s says", r.Name)
	return full
}

// unsaid lists the fields of a Go struct that hold nothing, those of structs
// inside behind their names.
func unsaid(before string, v reflect.Value) []string {
	var names []string
	for f, value := range v.Fields() {
		inside := value.Kind() == reflect.Struct && f.Type != reflect.TypeFor[loops.Day]()
		switch {
		case inside && f.Anonymous:
			names = append(names, unsaid(before, value)...)
		case inside && !value.IsZero():
			names = append(names, unsaid(before+f.Name+".", value)...)
		case value.IsZero():
			names = append(names, before+f.Name)
		}
	}
	return names
}

func TestFieldsOfRecords(t *testing.T) {
	t.Parallel()
	aboutRecord(t, acts.Owners(), "ID", "Revision", "LinkEpoch")
	aboutRecord(t, acts.Machines(), "ID", "Revision")
	aboutRecord(t, acts.Containers(), "ID", "Revision", "Uses", "MassKnown.PlusMinus")
	// How sure a volume is stands beside it; nobody says that of a wall.
	aboutRecord(t, acts.Loops(), "ID", "Tag", "Revision", "LastEntry", "State", "Plan",
		"BuiltKnown.PlusMinus", "VolumeKnown.PlusMinus", "ColdestWallKnown.PlusMinus")
}

// What erasing an owner empties are the fields marked personal, no more and no
// less.
func TestErasingFollowsTheFields(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: 11, Dom: 28}
	owner := aboutRecord(t, acts.Owners(), "ID", "Revision", "LinkEpoch")
	owner.ID, owner.Revision = 4, 7
	assert.Equal(t, loops.Owner{ID: 4, Revision: 7, Name: loops.ErasedText, MailStopped: day, LinkEpoch: 1}, acts.Erasing().Owner(owner, day))

	machine := aboutRecord(t, acts.Machines(), "ID", "Revision")
	machine.ID, machine.Revision = 5, 2
	erased := acts.Erasing().Machine(machine)
	want := loops.Machine{ID: 5, Revision: 2, Owner: machine.Owner, Kind: machine.Kind, Name: string(machine.Kind), Maker: machine.Maker, Model: machine.Model, WarrantyAsked: true}
	assert.Equal(t, want, erased)
	for _, f := range acts.Machines().Changed(machine, erased) {
		assert.True(t, f.Personal, "%s is not personal and went", f.Name)
	}
}

func TestErrorsNameTheFields(t *testing.T) {
	t.Parallel()
	bad := loops.Loop{Construction: loops.Construction{Volume: 2000, ColdestWall: new(chemistry.Celsius(-99)), RadiatorSizeMM: -1}}
	err := acts.Loops().Named(bad.Validate())
	for _, name := range []string{"holds", "wall", "radiator-size"} {
		assert.ErrorContains(t, err, name+" ", err)
	}
}

// A history, a page's list and a letter say in one word how a value is known.
func TestOneWordForHowAValueIsKnown(t *testing.T) {
	t.Parallel()
	var want []string
	for _, how := range loops.Hows() {
		want = append(want, how.Word())
	}
	asked := 0
	for _, fields := range [][]acts.Field{acts.Loops().Fields(), acts.Containers().Fields(), fieldsOf(t, "fill")} {
		for _, f := range fields {
			if strings.HasPrefix(f.Word, "HOW") {
				asked++
				assert.Equal(t, want, f.Shown, f.Name)
			}
		}
	}
	assert.Equal(t, 5, asked)
}

func fieldsOf(t *testing.T, act string) []acts.Field {
	t.Helper()
	d, ok := acts.Find(act)
	require.True(t, ok)
	return d.Fields
}

// What somebody types is measured unless they say how else it is known; what
// goes is known in no way.
func TestByHand(t *testing.T) {
	t.Parallel()
	day := loops.Day{Year: 2026, Month: 11, Dom: 28}
	measured, label := loops.Known{How: loops.Measured, On: day}, loops.Known{How: loops.OnLabel}
	of := func(volume chemistry.Litre, known loops.Known) loops.Loop {
		return loops.Loop{Construction: loops.Construction{Volume: volume, VolumeKnown: known}}
	}
	for _, tt := range []struct {
		name    string
		was, is loops.Loop
		want    loops.Known
	}{
		{"new", loops.Loop{}, of(0.5, loops.Known{}), measured},
		{"new, by the label", loops.Loop{}, of(0.5, label), label},
		{"as it was", of(0.5, loops.Known{}), of(0.5, loops.Known{}), loops.Known{}},
		{"measured now", of(0.5, label), of(0.6, label), measured},
		{"said how", of(0.5, loops.Known{}), of(0.5, label), label},
		{"not known any more", of(0.5, label), of(0, label), loops.Known{}},
	} {
		assert.Equal(t, tt.want, acts.ByHand(tt.was, tt.is, day).VolumeKnown, tt.name)
	}
	wall := loops.Loop{Construction: loops.Construction{ColdestWall: new(chemistry.Celsius(-10))}}
	assert.Equal(t, measured, acts.ByHand(loops.Loop{}, wall, day).ColdestWallKnown)
}
