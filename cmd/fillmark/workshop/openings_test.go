// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"crypto/rand"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/evidence"
	"fillmark/loops/findings"
	"fillmark/loops/photos"
	"fillmark/loops/store"
	"fillmark/schedule"
	"fillmark/testdata/peer"
)

// dayZero is the fill of every loop of these tests unless it says otherwise.
var dayZero = loops.Day{Year: 2025, Month: time.January, Dom: 1}

// newStudy is a workshop with a folder for photos.
func newStudy(t *testing.T) bench {
	t.Helper()
	dir := t.TempDir()
	s, err := store.Open(filepath.Join(dir, "register.db"), store.Options{})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return bench{workshop.New(s, workshop.Settings{
		Name: "Test Bench", From: "bench@test.example", BaseURL: "https://loops.test.example", Zone: time.UTC, SendHour: 8,
		Policy: schedule.DefaultPolicy(), Photos: photos.Folder(filepath.Join(dir, "photos")),
	}, rand.Reader, keys(t, 1)), s}
}

// One phone on a slow line keeps nobody else's photo waiting.
func TestSlowPhotoKeepsNobodyWaiting(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	var file bytes.Buffer
	require.NoError(t, jpeg.Encode(&file, image.NewGray(image.Rect(0, 0, 20, 20)), nil))
	out, in := io.Pipe()
	slow, quick := make(chan error, 1), make(chan error, 1)
	go func() { _, err := b.KeepPhoto("slow.jpg", out); slow <- err }()
	_, err := in.Write(file.Bytes()[:100]) // returns once it is being read
	require.NoError(t, err)
	go func() { _, err := b.KeepPhoto("quick.jpg", bytes.NewReader(file.Bytes())); quick <- err }()
	select {
	case err := <-quick:
		assert.NoError(t, err)
	case <-time.After(20 * time.Second):
		assert.Fail(t, "it waits for the slow one")
	}
	_, err = in.Write(file.Bytes()[100:])
	require.NoError(t, err)
	require.NoError(t, in.Close())
	require.NoError(t, <-slow)
}

// later is the instant and the technician of an entry on a day.
func later(days int) workshop.Stamp {
	return workshop.Stamp{At: dayZero.AddDays(days).At(12, time.UTC).UTC(), By: "test"}
}

// studied is one loop for [bench.study].
type studied struct {
	origin       loops.Origin // empty: workshop
	fluid        chemistry.Fluid
	metal        chemistry.Metal
	early        int // the fill can have been so many days earlier
	unknownStart bool
	owned        bool // an owner's machine although the charge is not ours
	good         []int
	failed       int // inspection that judges it failed
	opened       int
	failedOn     int
	cause        loops.Cause
	drained      int
	photos       []loops.OpeningPhoto
	sealed       bool
	model        string // empty: Heron
}

// study puts a loop on record with what was found and measured, and returns its
// tag.
func (b bench) study(t *testing.T, x studied) loops.Tag {
	t.Helper()
	machine := loops.Machine{Kind: loops.DonorUnit, Name: "unit", Maker: "Nowhere Works", Model: "Heron"}
	if x.model != "" {
		machine.Model = x.model
	}
	if x.origin == "" {
		x.origin = loops.WorkshopFill
	}
	if x.origin == loops.WorkshopFill || x.owned {
		owner, err := b.AddOwner(later(0), loops.Owner{Name: "Zuleika Ownerly", Phone: "+351 555 0100", Email: "zuleika@private.example"})
		require.NoError(t, err)
		machine.Owner, machine.Kind, machine.Name = owner.ID, loops.Workstation, "Zuleika's tower"
	}
	if x.metal == "" {
		x.metal = chemistry.Brass
	}
	if x.fluid == "" {
		x.fluid = chemistry.PropyleneGlycol
	}
	kept, err := b.AddMachine(later(0), machine)
	require.NoError(t, err)
	loop, err := b.AddLoop(later(0), loops.Loop{Machine: kept.ID, Construction: loops.Construction{Volume: 0.5, Sealed: x.sealed, NoFrost: true,
		Wetted: []loops.WettedPart{{Part: "cold plate", Metal: chemistry.Copper}, {Part: "radiator", Metal: x.metal}}}})
	require.NoError(t, err)
	charge := glycol()
	charge.Fluid, charge.Origin, charge.FilledFrom, charge.FilledTo = x.fluid, x.origin, dayZero.AddDays(-x.early), dayZero
	if x.unknownStart {
		charge.FilledFrom = loops.Day{}
	}
	record := func(days int, e loops.Entry) {
		t.Helper()
		e.Day = dayZero.AddDays(days)
		_, err := b.Do(later(days), loop.Tag, e)
		require.NoError(t, err)
	}
	record(0, already(loops.Entry{Kind: loops.KindFill, Fill: &loops.Fill{Charge: charge}}))
	if x.origin == loops.WorkshopFill {
		record(1, dry(loops.Day{}))
		record(1, givenBack(loops.Day{}, false))
	}
	if x.origin == loops.WorkshopFill && len(x.good) > 0 {
		record(x.good[0], proven(loops.Day{}))
	}
	reading := loops.Inspection{Die: new(chemistry.Celsius(40)), Room: new(chemistry.Celsius(21)), PowerW: new(60.0), Verdict: loops.Good}
	for _, days := range x.good {
		record(days, loops.Entry{Kind: loops.KindInspection, Inspection: &reading})
	}
	if x.failed > 0 {
		record(x.failed, loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{Verdict: loops.Failed}})
	}
	if x.drained > 0 {
		record(x.drained, loops.Entry{Kind: loops.KindDrain, Drain: &loops.Drain{}})
	}
	if x.opened > 0 {
		o := loops.Opening{Cause: x.cause, Severity: new(loops.Narrowed), Words: "Zuleika says it rattled", Photos: x.photos}
		if x.failedOn > 0 {
			o.FailedOn = dayZero.AddDays(x.failedOn)
		}
		record(x.opened, loops.Entry{Kind: loops.KindOpening, Opening: &o, Note: "call Zuleika"})
	}
	return loop.Tag
}

// measuredGood measures a loop that was put on record before.
func measuredGood(t *testing.T, b bench, tag loops.Tag, days int) {
	t.Helper()
	_, err := b.Do(later(days), tag, loops.Entry{Kind: loops.KindInspection, Day: dayZero.AddDays(days),
		Inspection: &loops.Inspection{Die: new(chemistry.Celsius(40)), Room: new(chemistry.Celsius(21)), PowerW: new(60.0), Verdict: loops.Good}})
	require.NoError(t, err)
}

const month = 30.4375

// The rows of the statistics, one for each kind of life a register can hold.
func TestLivesFromTheRegister(t *testing.T) {
	t.Parallel()
	inf := math.Inf(1)
	tests := []struct {
		name  string
		loop  studied
		want  findings.Life
		apart string
	}{
		{"good", studied{good: []int{1, 200}}, findings.Life{Lower: 200 / month, Upper: inf}, ""},
		{"an owner's word is no measurement", studied{}, findings.Life{}, "never measured good since its fill"},
		{"failed between two looks", studied{good: []int{1, 200}, opened: 300, cause: loops.CauseClog}, findings.Life{Lower: 200 / month, Upper: 300 / month, Cause: "clog"}, ""},
		{"failed on a known day", studied{good: []int{200}, opened: 300, failedOn: 290, cause: loops.CauseLeak}, findings.Life{Lower: 290 / month, Upper: 290 / month, Cause: "leak"}, ""},
		{"found failed, cause confirmed later", studied{good: []int{200}, failed: 250, opened: 300, cause: loops.CauseClog}, findings.Life{Lower: 200 / month, Upper: 250 / month, Cause: "clog"}, ""},
		{"drained before it was opened", studied{good: []int{200}, drained: 299, opened: 300, cause: loops.CauseClog}, findings.Life{Lower: 200 / month, Upper: 300 / month, Cause: "clog"}, ""},
		{"never seen good", studied{opened: 300, cause: loops.CauseClog}, findings.Life{Upper: 300 / month, Cause: "clog"}, ""},
		{"a dry mount is no failure of the loop", studied{good: []int{200}, failed: 250, opened: 260, cause: loops.CauseMount}, findings.Life{Lower: 200 / month, Upper: inf}, ""},
		{"nothing found", studied{good: []int{200}, opened: 260, cause: loops.CauseNone}, findings.Life{Lower: 200 / month, Upper: inf}, ""},
		{"donor, fill within a quarter", studied{origin: loops.Factory, early: 90, opened: 300, cause: loops.CauseClog}, findings.Life{Upper: 390 / month, Cause: "clog"}, ""},
		{"donor, good", studied{origin: loops.Factory, early: 90, good: []int{300}}, findings.Life{Lower: 300 / month, Upper: inf}, ""},
		{"donor, failed on a known day of an unknown age", studied{origin: loops.Factory, early: 90, opened: 300, failedOn: 300, cause: loops.CauseClog}, findings.Life{Lower: 300 / month, Upper: 390 / month, Cause: "clog"}, ""},
		{"donor of unknown age", studied{origin: loops.Factory, unknownStart: true, opened: 300, cause: loops.CauseClog}, findings.Life{}, "nothing is known of how old it can be: the fill has no earliest day"},
		{"donor of unknown age, good", studied{origin: loops.Factory, unknownStart: true, good: []int{300}}, findings.Life{}, "nothing is known of how old it can be: the fill has no earliest day"},
		{"joined in use, watched on", studied{origin: loops.Factory, owned: true, good: []int{300, 500}}, findings.Life{Lower: 500 / month, Upper: inf, Entry: 300 / month}, ""},
		{"joined in use, seen once", studied{origin: loops.Factory, owned: true, good: []int{300}}, findings.Life{}, "measured good once, on the day it joined the record already aged"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := newStudy(t)
			b.study(t, tt.loop)
			cases, err := b.Cases()
			require.NoError(t, err)
			require.Len(t, cases, 1)
			assert.Equal(t, tt.apart, cases[0].LeftOut)
			if tt.apart == "" {
				tt.want.Count = 1
				assert.Equal(t, tt.want, cases[0].Life)
			}
		})
	}
}

func TestRefillBeginsANewLife(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	tag := b.study(t, studied{good: []int{100}, opened: 200, cause: loops.CauseClog})
	charge := glycol()
	charge.Origin, charge.FilledFrom, charge.FilledTo = loops.WorkshopFill, dayZero.AddDays(210), dayZero.AddDays(210)
	_, err := b.Do(later(210), tag, loops.Entry{Kind: loops.KindFill, Day: dayZero.AddDays(210), Fill: &loops.Fill{Charge: charge}})
	require.NoError(t, err)
	_, err = b.Do(later(400), tag, proven(dayZero.AddDays(400)))
	require.NoError(t, err)
	cases, err := b.Cases()
	require.NoError(t, err)
	require.Len(t, cases, 2)
	assert.True(t, cases[0].Failed)
	assert.Equal(t, findings.Life{Lower: 190 / month, Upper: math.Inf(1), Count: 1}, cases[1].Life)
}

// Another cooler brings a charge of its own: what is measured of it and what fails
// in it is not told of the one that was thrown out.
func TestSwapBeginsANewLife(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	tag := b.study(t, studied{good: []int{100}})
	do := func(days int, e loops.Entry) {
		t.Helper()
		e.Day = dayZero.AddDays(days)
		_, err := b.Do(later(days), tag, e)
		require.NoError(t, err)
	}
	do(160, loops.Entry{Kind: loops.KindSwap, Swap: &loops.Swap{OldUnit: loops.OldUnitDiscarded, Sealed: new(true), Fluid: chemistry.PropyleneGlycol}})
	measuredGood(t, b, tag, 250)
	measuredGood(t, b, tag, 330)
	cases, err := b.Cases()
	require.NoError(t, err)
	require.Len(t, cases, 2)
	assert.Equal(t, findings.Life{Lower: 100 / month, Upper: math.Inf(1), Count: 1}, cases[0].Life)
	assert.Equal(t, dayZero.AddDays(160), cases[0].Until)
	assert.Equal(t, loops.Factory, cases[1].Origin)
	assert.Equal(t, dayZero.AddDays(160), cases[1].Filled)
	assert.Equal(t, dayZero.AddDays(330), cases[1].Ended)
	assert.Equal(t, "nothing is known of how old it can be: the fill has no earliest day", cases[1].LeftOut)

	do(340, loops.Entry{Kind: loops.KindOpening, Opening: &loops.Opening{Cause: loops.CausePump}})
	cases, err = b.Cases()
	require.NoError(t, err)
	assert.False(t, cases[0].Failed)
	assert.Equal(t, loops.CausePump, cases[1].Cause)
	openings, err := b.OpeningsOf(tag)
	require.NoError(t, err)
	assert.Equal(t, loops.Factory, openings[0].Origin)
}

// What a machine came in with may be known to nobody. Its opening is on record and
// counted, and nothing is said of its age.
func TestAnOpeningOfALiquidThatNobodyKnows(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	owner, err := b.AddOwner(later(0), loops.Owner{Name: "Ana", Consent: loops.Consent{Opening: true}})
	require.NoError(t, err)
	machine, err := b.AddMachine(later(0), loops.Machine{Owner: owner.ID, Kind: loops.Desktop, Name: "tower"})
	require.NoError(t, err)
	loop, err := b.AddLoop(later(0), loops.Loop{Machine: machine.ID, Construction: loops.Construction{Volume: 0.5}})
	require.NoError(t, err)
	for _, e := range []loops.Entry{
		{Kind: loops.KindDrain, Day: dayZero.AddDays(100), Drain: &loops.Drain{Disposal: "drum 2"}},
		{Kind: loops.KindOpening, Day: dayZero.AddDays(100), Opening: &loops.Opening{Cause: loops.CauseClog}},
	} {
		_, err := b.Do(later(400), loop.Tag, e)
		require.NoError(t, err)
	}
	cases, err := b.Cases()
	require.NoError(t, err)
	require.Len(t, cases, 1)
	assert.True(t, cases[0].Failed)
	assert.Equal(t, loops.UnknownOrigin, cases[0].Origin)
	assert.Equal(t, loops.CauseClog, cases[0].Cause)
	assert.Contains(t, cases[0].LeftOut, "nothing is known of how old it can be")
}

func TestOpeningsThatContradictTheRecord(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	good := b.study(t, studied{good: []int{200}})
	clog := func(on int) *loops.Opening {
		o := loops.Opening{Cause: loops.CauseClog}
		if on != 0 {
			o.FailedOn = dayZero.AddDays(on)
		}
		return &o
	}
	tests := []struct {
		name    string
		tag     loops.Tag
		days    int
		opening *loops.Opening
		field   string
		says    string
	}{
		{"before the fill", good, -1, clog(0), "day", "not before the loop was filled, 2025-01-01"},
		{"measured good later", good, 150, clog(0), "day", "last measured good, 2025-07-20"},
		{"failed before it was measured good", good, 300, clog(150), "failed-on", "2025-07-20"},
		{"failed after the opening", good, 300, clog(301), "failed-on", "not after the opening"},
		{"failed before the fill", good, 300, clog(-20), "failed-on", "not before the fill"},
		{"a photo that nobody sent", good, 300, &loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{{Hash: strings.Repeat("0", 64), When: loops.BeforeWork}}}, "photo", "uploaded before"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			before, err := b.store.LoopByTag(tt.tag)
			require.NoError(t, err)
			_, err = b.Do(later(400), tt.tag, loops.Entry{Kind: loops.KindOpening, Day: dayZero.AddDays(tt.days), Opening: tt.opening})
			var wrong *loops.InvalidError
			require.ErrorAs(t, err, &wrong)
			assert.Equal(t, tt.field, wrong.Field)
			assert.Contains(t, wrong.Reason, tt.says)
			after, err := b.store.LoopByTag(tt.tag)
			require.NoError(t, err)
			assert.Equal(t, before, after, "nothing changes")
		})
	}
	_, err := b.Do(later(410), good, loops.Entry{Kind: loops.KindRetirement, Day: dayZero.AddDays(405), Retirement: &loops.Retirement{Reason: loops.Scrapped}})
	require.NoError(t, err)
	_, err = b.Do(later(420), good, loops.Entry{Kind: loops.KindOpening, Day: dayZero.AddDays(420), Opening: clog(0)})
	require.NoError(t, err, "a retired loop may be opened")
}

// fleet is eight loops with aluminium of which five clogged, and ten without of
// which one did.
func fleet(t *testing.T, b bench) {
	t.Helper()
	for i := range 5 {
		b.study(t, studied{metal: chemistry.Aluminium, good: []int{150 + 10*i}, opened: 300 + 7*i, cause: loops.CauseClog})
	}
	for i := range 3 {
		b.study(t, studied{metal: chemistry.Aluminium, good: []int{320 + i}})
	}
	b.study(t, studied{good: []int{200}, opened: 390, cause: loops.CauseClog})
	for i := range 9 {
		b.study(t, studied{good: []int{400 + 3*i}})
	}
	b.study(t, studied{good: []int{40}})                                       // too young to compare
	b.study(t, studied{good: []int{100}, opened: 200, cause: loops.CausePump}) // another cause
}

func TestPattern(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	fleet(t, b)
	trait, err := evidence.ParseTrait("metal=aluminium")
	require.NoError(t, err)
	answer, err := b.Pattern(loops.CauseClog, trait)
	require.NoError(t, err)
	require.Len(t, answer.Lines, 1)
	line := answer.Lines[0]
	assert.Equal(t, evidence.Counts{FailedWith: 5, FailedWithout: 1, GoodWith: 3, GoodWithout: 11}, line.Counts, "a charge counts for as long as it was seen good")
	assert.Greater(t, float64(line.Ratio), 1.0)
	assert.Less(t, float64(line.Expected), 4.0)
	assert.True(t, line.Exploratory)
	assert.Contains(t, line.Sentence, "no proof")
	assert.Empty(t, answer.Apart)

	all, err := b.Pattern(loops.CauseClog)
	require.NoError(t, err)
	require.NotEmpty(t, all.Lines)
	assert.Equal(t, len(all.Lines), all.Lines[0].Compared)
	encoded, err := json.Marshal(all)
	require.NoError(t, err)
	assert.NotContains(t, string(encoded), "NaN")

	_, err = evidence.ParseTrait("colour=green")
	require.ErrorContains(t, err, "KEY=VALUE", "what only an opening shows is no trait")
	_, err = evidence.ParseCause("fan")
	require.ErrorContains(t, err, "lies in the loop")
}

// Pattern, comparison of lives and watch are one comparison: on the same charges
// they say the same, however those were watched.
func TestPatternHowLongAndWatchAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		b := newStudy(t)
		trait, err := evidence.ParseTrait("metal=aluminium")
		require.NoError(rt, err)
		line, err := b.AddWatch(later(-1), loops.PatternWatch{Cause: loops.CauseClog, Trait: trait.String()})
		require.NoError(rt, err)
		require.Zero(rt, line.Failures)
		for range rapid.IntRange(2, 10).Draw(rt, "charges") {
			s := studied{sealed: rapid.Bool().Draw(rt, "sealed"), good: []int{rapid.IntRange(20, 200).Draw(rt, "good")}}
			if rapid.Bool().Draw(rt, "aluminium") {
				s.metal = chemistry.Aluminium
			}
			if rapid.Bool().Draw(rt, "clogged") {
				s.opened, s.cause = rapid.IntRange(210, 400).Draw(rt, "opened"), loops.CauseClog
			}
			b.study(t, s)
		}
		pattern, err := b.Pattern(loops.CauseClog, trait)
		require.NoError(rt, err)
		long, err := b.HowLong(trait.String())
		require.NoError(rt, err)
		watches, err := b.Watches()
		require.NoError(rt, err)
		require.Len(rt, long[0].Compared, 1)
		one, other, third := pattern.Lines[0], long[0].Compared[0], watches[0].Answer
		if !one.P.Known() {
			require.False(rt, other.P.Known())
			require.False(rt, third.P.Known())
			return
		}
		require.Equal(rt, one.P, other.P)
		require.Equal(rt, one.PAdjusted, other.PAdjusted)
		require.InDelta(rt, float64(one.P), float64(third.P), 1e-9)
		require.Equal(rt, one.Counts, third.Counts)
		require.Equal(rt, one.Sentence, other.Sentence)
	})
}

// A trait that was picked from the list is corrected for the whole list.
func TestHolmStaysWithTheTrait(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	fleet(t, b)
	all, err := b.Pattern(loops.CauseClog)
	require.NoError(t, err)
	for _, l := range all.Lines {
		trait, err := evidence.ParseTrait(l.Trait)
		require.NoError(t, err)
		alone, err := b.Pattern(loops.CauseClog, trait)
		require.NoError(t, err)
		require.Len(t, alone.Lines, 1)
		assert.Equal(t, l.PAdjusted.String(), alone.Lines[0].PAdjusted.String(), l.Trait)
		assert.Equal(t, l.Compared, alone.Lines[0].Compared)
	}
}

// Factory and workshop charges, and fluids, are never pooled: tables that
// would show a pattern only together show none.
func TestPatternKeepsKindsApart(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	for range 4 {
		b.study(t, studied{metal: chemistry.Aluminium, origin: loops.Factory, opened: 300, cause: loops.CauseClog})
		b.study(t, studied{good: []int{300}})
	}
	trait, err := evidence.ParseTrait("metal=aluminium")
	require.NoError(t, err)
	answer, err := b.Pattern(loops.CauseClog, trait)
	require.NoError(t, err)
	require.Len(t, answer.Lines[0].Refused, 1)
	assert.False(t, answer.Lines[0].P.Known())
}

func TestWatchTestsLaterLivesOnly(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	fleet(t, b)
	watch := loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium", ReadAt: 4}
	line, err := b.AddWatch(later(500), watch)
	require.NoError(t, err)
	assert.Equal(t, 20, line.PassedOver)
	assert.Zero(t, line.Failures)
	require.NotEmpty(t, line.Answer.Refused)
	_, err = b.AddWatch(later(501), watch)
	require.ErrorContains(t, err, "not under watch yet")
	_, err = b.AddWatch(later(501), loops.PatternWatch{Cause: loops.CauseFan, Trait: "metal=aluminium"})
	require.Error(t, err)
	var good []loops.Tag
	for range 8 {
		good = append(good, b.study(t, studied{good: []int{540}}))
	}
	for range 4 {
		b.study(t, studied{metal: chemistry.Aluminium, opened: 520, cause: loops.CauseClog})
	}
	_, err = b.Learn(t.Context(), later(545))
	require.NoError(t, err)
	lines, err := b.Watches()
	require.NoError(t, err)
	require.Len(t, lines, 1)
	assert.Equal(t, 4, lines[0].Failures)
	assert.Equal(t, evidence.Counts{FailedWith: 4, GoodWithout: 8}, lines[0].Answer.Counts)
	require.NotNil(t, lines[0].Reading, "read once, and kept")
	assert.Len(t, lines[0].Reading.Cases, 12)
	assert.InDelta(t, 540/30.4375, lines[0].Reading.Cases[0].Good, 0.01)
	assert.InDelta(t, 500/30.4375, lines[0].Reading.Cases[0].Entered, 0.01, "its age on the day of the watch")

	// Whatever is measured later leaves it as it is.
	b.study(t, studied{metal: chemistry.Aluminium, opened: 560, cause: loops.CauseClog})
	for _, l := range good {
		measuredGood(t, b, l, 600)
	}
	_, err = b.Learn(t.Context(), later(610))
	require.NoError(t, err)
	again, err := b.Watches()
	require.NoError(t, err)
	assert.Equal(t, lines[0].Reading, again[0].Reading)
	assert.Equal(t, lines[0].Answer.Sentence, again[0].Answer.Sentence)
	assert.Equal(t, lines[0].Answer.Counts, again[0].Answer.Counts)
	require.ErrorIs(t, b.store.ReadWatch(lines[0].ID, loops.WatchReading{}, "rui", later(611).At), loops.ErrConflict)

	// What was read can be put under watch again, under any spelling once.
	watch.Trait = "metal=Aluminium"
	second, err := b.AddWatch(later(612), watch)
	require.NoError(t, err)
	assert.NotEqual(t, lines[0].ID, second.ID)
	_, err = b.AddWatch(later(613), loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium"})
	require.ErrorContains(t, err, "not under watch yet")
}

// alreadyRead is a register in which another process has just read every watch.
type alreadyRead struct{ *store.Store }

func (alreadyRead) ReadWatch(loops.WatchID, loops.WatchReading, string, time.Time) error {
	return loops.ErrConflict
}

// A watch that somebody read just now stops nothing.
func TestLearnGoesOnWhereAWatchWasReadAlready(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	_, err := b.AddWatch(later(-1), loops.PatternWatch{Cause: loops.CauseClog, Trait: "metal=aluminium", ReadAt: 4})
	require.NoError(t, err)
	for range 4 {
		b.study(t, studied{metal: chemistry.Aluminium, opened: 130, cause: loops.CauseClog})
		b.study(t, studied{good: []int{200}})
		b.study(t, studied{good: []int{200}})
	}
	lines, err := b.Watches()
	require.NoError(t, err)
	require.True(t, lines[0].Due())
	_, err = b.Through(alreadyRead{b.store}).Learn(t.Context(), later(210))
	require.NoError(t, err)
}

// A third clogged loop changes neither the first page, which tells of patterns
// that chance does not explain, nor a plan.
func TestThirdClogIsNoPattern(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	for i := range 6 {
		b.study(t, studied{good: []int{120 + i}})
	}
	watched := b.study(t, studied{metal: chemistry.Aluminium})
	clogged := func() {
		b.study(t, studied{metal: chemistry.Aluminium, good: []int{60}, opened: 130, cause: loops.CauseClog})
	}
	serviceCheck := func() loops.Task {
		loop, err := b.store.LoopByTag(watched)
		require.NoError(t, err)
		for _, task := range loop.Plan.Tasks {
			if task.Kind == loops.ServiceCheck {
				return task
			}
		}
		return loops.Task{}
	}
	clogged()
	clogged()
	before := serviceCheck()
	clogged()
	due, err := b.Due(later(130).At)
	require.NoError(t, err)
	assert.Empty(t, due.Notices)
	assert.Equal(t, before.Due, serviceCheck().Due, "the shop's rule stands, however many failed")

	renewed, err := b.Learn(t.Context(), later(131))
	require.NoError(t, err)
	assert.Zero(t, renewed, "nothing new, nothing to do")
}

// Of loops that were not seen lately nobody knows: what looks are worth is told
// from both ends, for sealed and open loops apart, and names no make.
func TestWhenToLookIsASpan(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	for i := range 4 {
		b.study(t, studied{good: []int{300 + i}})
		b.study(t, studied{sealed: true, model: "P240", good: []int{120 + i}})
	}
	for range 3 {
		b.study(t, studied{sealed: true, good: []int{60}, opened: 130, cause: loops.CauseClog})
	}
	look, err := b.WhenToLook(later(900).At)
	require.NoError(t, err)
	require.Len(t, look, 2)
	assert.False(t, look[0].Early.Known(), "open loops have no failure on record")
	assert.Contains(t, look[0].Refused[0].Why, "29 charges measured good")
	sealed := look[1]
	assert.Less(t, sealed.Early, sealed.Late, "unseen loops may have been good until today")
	assert.Less(t, sealed.B10Lower, sealed.B10Upper)
	text := strings.Join(sealed.Sentences, " ")
	assert.Contains(t, text, "The shop's rule of 12 months stands.")
	assert.Contains(t, text, "3 charges failed in 22 loop-months under watch, or in 124 if every loop that was not seen is good.")
	assert.NotContains(t, text, "P240")
	assert.Contains(t, text, "is assumed from the rule")

	soon, err := b.WhenToLook(later(130).At)
	require.NoError(t, err)
	assert.LessOrEqual(t, soon[1].Late, sealed.Late, "the span widens while nobody looks")
	versions, err := b.EvidenceVersions()
	require.NoError(t, err)
	assert.Empty(t, versions, "and no plan is moved")
}

func TestCorrectionTakesBackWhatWasLearnt(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	for i := range 4 {
		b.study(t, studied{good: []int{120 + i}})
	}
	var last loops.Tag
	for range 3 {
		last = b.study(t, studied{good: []int{60}, opened: 130, cause: loops.CauseClog})
	}
	learnt, err := b.Pattern(loops.CauseClog)
	require.NoError(t, err)
	assert.Equal(t, 3, learnt.Failed)
	file, err := b.File(last)
	require.NoError(t, err)
	_, err = b.Do(later(140), last, loops.Entry{Kind: loops.KindCorrection, Correction: &loops.Correction{Strikes: file.Loop.LastEntry, Why: "another loop"}})
	require.NoError(t, err)
	learnt, err = b.Pattern(loops.CauseClog)
	require.NoError(t, err)
	assert.Equal(t, 2, learnt.Failed)
}

func TestRefusalsNameWhatIsMissing(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	answer, err := b.Pattern(loops.CauseClog)
	require.NoError(t, err)
	assert.Empty(t, answer.Lines)
	for range 3 {
		b.study(t, studied{opened: 130, cause: loops.CauseClog})
	}
	lives, err := b.HowLong("")
	require.NoError(t, err)
	require.Len(t, lives, 1)
	require.NotEmpty(t, lives[0].Report.Refused)
	assert.Equal(t, "ages", lives[0].Report.Refused[0].What)
	look, err := b.WhenToLook(later(140).At)
	require.NoError(t, err)
	require.Len(t, look, 1, "of no other origin or build is a charge on record")
	assert.Equal(t, "workshop charges in open loops", look[0].Of)
	assert.False(t, look[0].Early.Known(), "nothing without a healthy loop")
	assert.Contains(t, look[0].Refused[len(look[0].Refused)-1].Why, "missing: healthy charges on record.")
	due, err := b.Due(later(140).At)
	require.NoError(t, err)
	assert.Empty(t, due.Notices)
	_, err = b.HowLong("metal")
	require.ErrorContains(t, err, "metal=aluminium", "a loop has several metals")
}

// What the register answers is what a file of its rows answers when it is asked with
// the same care, and what R's
// survreg says of them.
func TestAnswersEqualThoseOfTheExportedRows(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	fleet(t, b)
	for _, by := range []string{"", "metals", "metal=aluminium"} {
		lives, err := b.HowLong(by)
		require.NoError(t, err)
		require.Len(t, lives, 1)
		var file bytes.Buffer
		require.NoError(t, workshop.WriteLives(&file, lives[0].Rows))
		read, err := findings.ReadCSV(&file)
		require.NoError(t, err)
		fromFile, err := json.Marshal(findings.Analyse(read, findings.FromRegister)) // as text, in which what is not known equals itself
		require.NoError(t, err)
		fromRegister, err := json.Marshal(lives[0].Report)
		require.NoError(t, err)
		assert.JSONEq(t, string(fromFile), string(fromRegister), by)
	}
	lives, err := b.HowLong("")
	require.NoError(t, err)
	shape, scale, loglik := survreg(t, lives[0].Rows)
	report := lives[0].Report
	require.NotNil(t, report.Weibull)
	assert.InEpsilon(t, shape, float64(report.Weibull.Shape), 1e-6)
	assert.InEpsilon(t, scale, float64(report.Weibull.Scale), 1e-6)
	assert.InEpsilon(t, loglik, float64(report.Weibull.LogLik), 1e-6)
	assert.InEpsilon(t, scale*math.Pow(-math.Log(0.9), 1/shape), float64(report.B10.Estimate), 1e-6)
	look, err := b.WhenToLook(later(420).At)
	require.NoError(t, err)
	assert.Equal(t, report.B10.Lower95, look[0].B10Lower, "the lower end is that of what is known")
}

// survreg fits the Weibull distribution with R's package survival.
func survreg(t *testing.T, rows []findings.Life) (shape, scale, loglik float64) {
	t.Helper()
	rscript := peer.Program(t, "Rscript")
	file := filepath.Join(t.TempDir(), "lives.csv")
	var out bytes.Buffer
	require.NoError(t, workshop.WriteLives(&out, rows))
	require.NoError(t, os.WriteFile(file, out.Bytes(), 0o600))
	const script = `library(survival); d <- read.csv(commandArgs(TRUE)[1])
d <- d[!(d$lower == 0 & is.na(d$upper)), ]
s <- Surv(ifelse(d$lower == 0, NA, d$lower), d$upper, type = "interval2")
f <- survreg(s ~ 1, weights = d$count, dist = "weibull", control = survreg.control(rel.tolerance = 1e-12, maxiter = 200))
cat(sprintf("%.15g %.15g %.15g", 1 / f$scale, exp(coef(f)), f$loglik[1]))`
	said, err := exec.Command(rscript, "--vanilla", "-e", script, file).Output()
	require.NoError(t, err, "%s", said)
	_, err = fmt.Sscan(string(said), &shape, &scale, &loglik)
	require.NoError(t, err, "%s", said)
	return shape, scale, loglik
}

func testPhoto(t *testing.T, tone uint8) []byte {
	t.Helper()
	img := image.NewGray(image.Rect(0, 0, 60, 40))
	for i := range img.Pix {
		img.Pix[i] = tone
	}
	var out bytes.Buffer
	require.NoError(t, jpeg.Encode(&out, img, nil))
	return out.Bytes()
}

// A summary for a maker has no field that could hold an owner's data, and
// nothing of it gets in through another.
func TestSummaryHoldsNothingOfOwners(t *testing.T) {
	t.Parallel()
	forbidden := []string{"owner", "phone", "email", "address", "tag", "note", "words_typed", "by", "name", "machine"}
	var walk func(reflect.Type, string)
	seen := map[reflect.Type]bool{}
	walk = func(of reflect.Type, path string) {
		for of.Kind() == reflect.Pointer || of.Kind() == reflect.Slice || of.Kind() == reflect.Map {
			of = of.Elem()
		}
		// Findings knows lives and no records.
		if of.Kind() != reflect.Struct || seen[of] || strings.HasSuffix(of.PkgPath(), "loops/findings") {
			return
		}
		seen[of] = true
		for f := range of.Fields() {
			name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
			assert.NotContains(t, forbidden, strings.ToLower(f.Name), path)
			assert.NotContains(t, forbidden, name, path)
			walk(f.Type, path+"."+f.Name)
		}
	}
	walk(reflect.TypeFor[workshop.Summary](), "Summary")
	for _, record := range []reflect.Type{reflect.TypeFor[loops.Owner](), reflect.TypeFor[loops.Machine](), reflect.TypeFor[loops.Loop](), reflect.TypeFor[loops.Entry](), reflect.TypeFor[loops.Opening]()} {
		assert.False(t, seen[record], "%s is part of a summary", record)
	}

	b := newStudy(t)
	kept, err := b.KeepPhoto("a.jpg", bytes.NewReader(testPhoto(t, 90)))
	require.NoError(t, err)
	again, err := b.KeepPhoto("b.jpg", bytes.NewReader(testPhoto(t, 90)))
	require.NoError(t, err)
	assert.True(t, again.Already)
	assert.Equal(t, kept.Hash, again.Hash)
	photo := []loops.OpeningPhoto{{Hash: kept.Hash, When: loops.BeforeWork}}
	b.study(t, studied{metal: chemistry.Aluminium, good: []int{100}, opened: 300, cause: loops.CauseClog, photos: photo})
	b.study(t, studied{metal: chemistry.Aluminium, origin: loops.Factory, early: 30, opened: 300, cause: loops.CauseClog, photos: photo})
	trait, err := evidence.ParseTrait("maker=nowhere works")
	require.NoError(t, err)
	summary, err := b.Summary(later(400).At, trait)
	require.NoError(t, err)
	assert.Equal(t, 2, summary.Charges)
	require.Len(t, summary.Cases, 2)
	assert.Equal(t, 1, summary.Withheld, "no photo of an owner who did not agree")
	var table bytes.Buffer
	require.NoError(t, workshop.WriteSummary(&table, summary))
	encoded, err := json.Marshal(summary)
	require.NoError(t, err)
	for _, text := range []string{string(encoded), table.String()} {
		assert.NotContains(t, text, "Zuleika")
		assert.NotContains(t, text, "private.example")
		assert.NotContains(t, text, "555 0100")
	}
	assert.Equal(t, 3, strings.Count(table.String(), "\n"), strconv.Quote(table.String()))
	none, err := evidence.ParseTrait("maker=Nobody")
	require.NoError(t, err)
	_, err = b.Summary(later(400).At, none)
	require.ErrorIs(t, err, loops.ErrNotFound)
}

// A photo is shown if whoever had the machine when it was taken agreed: not by
// the word of whom it was sold to, nor kept back by theirs.
func TestPhotosAreTheFormerOwners(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	kept, err := b.KeepPhoto("a.jpg", bytes.NewReader(testPhoto(t, 90)))
	require.NoError(t, err)
	photo := []loops.OpeningPhoto{{Hash: kept.Hash, When: loops.BeforeWork}}
	tag := b.study(t, studied{good: []int{100}, opened: 200, cause: loops.CauseClog, photos: photo})
	buyer, err := b.AddOwner(later(250), loops.Owner{Name: "Bo Harbour", Consent: loops.Consent{Photos: true, Opening: true}})
	require.NoError(t, err)
	trait, err := evidence.ParseTrait("maker=nowhere works")
	require.NoError(t, err)
	withheld := func() int {
		t.Helper()
		summary, err := b.Summary(later(500).At, trait)
		require.NoError(t, err)
		return summary.Withheld
	}
	require.Equal(t, 1, withheld())
	_, err = b.Do(later(260), tag, loops.Entry{Kind: loops.KindTransfer, Day: dayZero.AddDays(260), Transfer: &loops.Transfer{To: buyer.ID}})
	require.NoError(t, err)
	assert.Equal(t, 1, withheld(), "taken while it was the former owner's")

	other, err := b.KeepPhoto("b.jpg", bytes.NewReader(testPhoto(t, 20)))
	require.NoError(t, err)
	_, err = b.Do(later(300), tag, loops.Entry{Kind: loops.KindOpening, Day: dayZero.AddDays(300),
		Opening: &loops.Opening{Cause: loops.CauseClog, Photos: []loops.OpeningPhoto{{Hash: other.Hash, When: loops.BeforeWork}}}})
	require.NoError(t, err)
	assert.Equal(t, 1, withheld(), "the buyer's own are shown")
}

func TestPhotoIsRefusedByName(t *testing.T) {
	t.Parallel()
	b := newStudy(t)
	_, err := b.KeepPhoto("letter.txt", bytes.NewReader([]byte("no picture")))
	var wrong *loops.InvalidError
	require.ErrorAs(t, err, &wrong)
	assert.Equal(t, []string{"photo", "letter.txt"}, []string{wrong.Field, wrong.Value})
	_, err = b.Photo(strings.Repeat("0", 64), photos.Full)
	require.ErrorIs(t, err, loops.ErrNotFound)
	_, err = b.OpeningsOf("7K3QXA")
	require.ErrorIs(t, err, loops.ErrNotFound)
}
