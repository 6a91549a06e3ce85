// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package loops_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
)

func TestCheckEmail(t *testing.T) {
	t.Parallel()
	for _, address := range []string{"anna@garden.example", "a.b+c@xn--bcher-kva.example", "o'hara@shop.example"} {
		assert.NoError(t, loops.CheckEmail("email", address), address)
	}
	long := strings.Repeat("a", 65) + "@garden.example"
	for _, address := range []string{"", "anna", "anna@", "@garden.example", "a@b", "Anna <anna@garden.example>", "anna@garden.example\r\nBcc: x@y.example",
		"a@b> RET=FULL", "a b@garden.example", long, "anna@" + strings.Repeat("x.", 130) + "example", "anna@gar den.example"} {
		var invalid *loops.InvalidError
		require.ErrorAs(t, loops.CheckEmail("email", address), &invalid, "%q", address)
		assert.Equal(t, "email", invalid.Field)
	}
}

func TestOwnerValidateNamesEveryField(t *testing.T) {
	t.Parallel()
	err := loops.Owner{Name: "a\r\nBcc: all@example", Email: "nowhere", Zone: "Mars/Olympus", Units: "cups", Language: "german"}.Validate()
	for _, field := range []string{"name", "email", "zone", "units", "language"} {
		assert.ErrorContains(t, err, field)
	}
	assert.NoError(t, loops.Owner{Name: "Åse Ødegård", Zone: "Europe/Oslo"}.Validate())
}

func TestLoopValidate(t *testing.T) {
	t.Parallel()
	good := loops.Loop{Construction: loops.Construction{Volume: 0.5, Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper, Plating: chemistry.Nickel}}}}
	require.NoError(t, good.Validate())
	assert.Equal(t, []chemistry.Metal{chemistry.Nickel, chemistry.Copper}, good.Metals())

	unknown := good
	unknown.Volume = 0
	require.NoError(t, unknown.Validate(), "what is not known yet can be left out")
	for name, change := range map[string]func(*loops.Loop){
		"next to nothing": func(l *loops.Loop) { l.Volume = 0.004 },
		"NaN":             func(l *loops.Loop) { l.Volume = chemistry.Litre(math.NaN()) },
		"infinite":        func(l *loops.Loop) { l.Volume = chemistry.Litre(math.Inf(1)) },
		"unknown metal":   func(l *loops.Loop) { l.Wetted = []loops.WettedPart{{Part: "plate", Metal: "mithril"}} },
		"wall too cold":   func(l *loops.Loop) { l.ColdestWall = new(chemistry.Celsius(-300)) },
		"control signs":   func(l *loops.Loop) { l.Mounting = "top\x1b[31m" },
		"wild certainty":  func(l *loops.Loop) { l.VolumeUncertainty = 3 },
		"wall and none":   func(l *loops.Loop) { l.NoFrost, l.ColdestWall = true, new(chemistry.Celsius(5)) },
	} {
		bad := good
		change(&bad)
		assert.Error(t, bad.Validate(), name)
	}
}

func TestWallIsTheColderOfRoomAndEvaporator(t *testing.T) {
	t.Parallel()
	c := loops.Construction{SetPoint: new(chemistry.Celsius(5)), EvaporatorMargin: new(chemistry.CelsiusDelta(8))}
	wall, ok := c.Wall()
	assert.True(t, ok)
	assert.InDelta(t, -3, float64(wall), 1e-9)
	c.ColdestWall = new(chemistry.Celsius(-15))
	wall, _ = c.Wall()
	assert.InDelta(t, -15, float64(wall), 1e-9)
	_, ok = loops.Construction{}.Wall()
	assert.False(t, ok)
}

func TestEntryValidate(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-05-01")
	require.NoError(t, fill(d, 0.4).Validate())
	for name, e := range map[string]loops.Entry{
		"no payload":     {Kind: loops.KindFill, Day: d, By: "test"},
		"another's":      {Kind: loops.KindFill, Day: d, By: "test", Drain: &loops.Drain{}},
		"both":           {Kind: loops.KindDrain, Day: d, By: "test", Drain: &loops.Drain{}, Fill: fill(d, 0.4).Fill},
		"no day":         {Kind: loops.KindClean, By: "test"},
		"nobody":         {Kind: loops.KindClean, Day: d},
		"unknown kind":   {Kind: "magic", Day: d, By: "test"},
		"strength above": fill(d, 0.7),
		"strength below": fill(d, -0.1),
		"strength NaN":   fill(d, chemistry.MassFraction(math.NaN())),
	} {
		assert.Error(t, e.Validate(), name)
	}
	assert.NoError(t, loops.Entry{Kind: loops.KindClean, Day: d, By: "test"}.Validate())
}

func TestPolicyThatContradictsItselfIsRefused(t *testing.T) {
	t.Parallel()
	good := loops.Policy{Version: "1", AheadDays: 7, LateDays: 7, LastDays: 21, CallDays: 35, Intervals: []loops.Interval{
		{Task: loops.Look, Months: 3, Source: "test", Grade: "common practice"},
	}}
	require.NoError(t, good.Validate())
	for name, change := range map[string]func(*loops.Policy){
		"zero":          func(p *loops.Policy) { p.Intervals[0].Months = 0 },
		"negative":      func(p *loops.Policy) { p.Intervals[0].Months = -3 },
		"absurd":        func(p *loops.Policy) { p.Intervals[0].Months = 9000 },
		"two lengths":   func(p *loops.Policy) { p.Intervals[0].Days = 3 },
		"late > last":   func(p *loops.Policy) { p.LateDays = 30 },
		"no source":     func(p *loops.Policy) { p.Intervals[0].Source = "" },
		"no such task":  func(p *loops.Policy) { p.Intervals[0].Task = "polish" },
		"call too soon": func(p *loops.Policy) { p.CallDays = 1 },
	} {
		bad := good
		bad.Intervals = append([]loops.Interval(nil), good.Intervals...)
		change(&bad)
		assert.Error(t, bad.Validate(), name)
	}
}

func TestChargeOfUnknownFluid(t *testing.T) {
	t.Parallel()
	d := day(t, "2026-05-01")
	for _, tt := range []struct {
		name   string
		charge loops.Charge
		field  string // empty where it is right
	}{
		{"of a factory", loops.Charge{Origin: loops.Factory, FilledTo: d}, ""},
		{"of nobody known", loops.Charge{Origin: loops.UnknownOrigin, FilledTo: d, Lot: "B-7"}, ""},
		{"of the workshop", loops.Charge{Origin: loops.WorkshopFill, FilledTo: d}, "fluid"},
		{"of no origin", loops.Charge{FilledTo: d}, "fluid"},
		{"with a strength", loops.Charge{Origin: loops.Factory, FilledTo: d, Mass: new(chemistry.MassFraction(0.3))}, "strength"},
		{"with a zero strength", loops.Charge{Origin: loops.Factory, FilledTo: d, Mass: new(chemistry.MassFraction(0))}, "strength"},
		{"with an uncertainty", loops.Charge{Origin: loops.Factory, FilledTo: d, MassUncertainty: 0.02}, "strength"},
		{"what should not be in one", loops.Charge{Fluid: "ethanol", Mass: new(chemistry.MassFraction(0.8)), Origin: loops.Factory, FilledTo: d}, ""},
		{"another word", loops.Charge{Fluid: "brandy", Origin: loops.Factory, FilledTo: d}, "fluid"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			err := loops.Entry{Kind: loops.KindFill, Day: d, By: "test", Fill: &loops.Fill{Charge: tt.charge}}.Validate()
			if tt.field == "" {
				assert.NoError(t, err)
			} else {
				assert.ErrorContains(t, err, tt.field)
			}
		})
	}

	read := loops.Entry{Kind: loops.KindInspection, Day: d, By: "test", Inspection: &loops.Inspection{Verdict: loops.NotJudged, Mass: new(chemistry.MassFraction(0.3))}}
	filled := loops.Entry{Kind: loops.KindFill, Day: d, By: "test", Fill: &loops.Fill{Charge: loops.Charge{Origin: loops.Factory, FilledTo: d}}}
	state := loops.Fold([]loops.Entry{filled, read})
	require.NotNil(t, state.Charge)
	assert.Nil(t, state.Charge.Mass, "of an unknown fluid a reading says no strength")
}

func TestPhotosOfAnswersAndIntakes(t *testing.T) {
	t.Parallel()
	d, one, two := day(t, "2026-05-01"), strings.Repeat("a", 64), strings.Repeat("b", 64)
	many := make([]string, loops.MaxPhotos+1)
	for i := range many {
		many[i] = strings.Repeat(string("0123456789abcdef"[i]), 64)
	}
	intake := func(photos ...string) loops.Entry {
		return loops.Entry{Kind: loops.KindIntake, Day: d, By: "test", Intake: &loops.Intake{Photos: photos}}
	}
	answer := func(kind loops.AnswerKind, photo string) loops.Entry {
		return loops.Entry{Kind: loops.KindAnswer, Day: d, By: "test", Answer: &loops.Answer{Answer: kind, Photo: photo}}
	}
	for _, tt := range []struct {
		name  string
		entry loops.Entry
		right bool
		names []string
	}{
		{"an intake's", intake(one, two), true, []string{one, two}},
		{"an intake's most", intake(many[1:]...), true, many[1:]},
		{"too many", intake(many...), false, many},
		{"twice", intake(one, one), false, []string{one, one}},
		{"no hash", intake("../x"), false, []string{"../x"}},
		{"an answer's", answer(loops.SomethingOff, one), true, []string{one}},
		{"an answer without", answer(loops.SomethingOff, ""), true, nil},
		{"all fine", answer(loops.AllFine, one), false, []string{one}},
		{"an answer's no hash", answer(loops.SomethingOff, "A"), false, []string{"A"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			assert.Equal(t, tt.names, tt.entry.PhotoHashes())
			if err := tt.entry.Validate(); tt.right {
				assert.NoError(t, err)
			} else {
				assert.ErrorContains(t, err, "photo")
			}
			assert.Empty(t, tt.entry.Erased().PhotoHashes(), "an erased owner's photos are named no more")
		})
	}
}
