// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"net/mail"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/schedule"
)

// withPolicy is the workshop with another policy, as after a change of the
// configuration.
func (b bench) withPolicy(t testing.TB, months int) *workshop.Workshop {
	t.Helper()
	policy, err := schedule.WithOverrides(schedule.DefaultPolicy(), []schedule.Override{{Task: loops.CoolantChange, Months: months}})
	require.NoError(t, err)
	settings := b.Settings()
	settings.Policy = policy
	return workshop.New(b.store, settings, rand.Reader, keys(t, 1))
}

func TestReplanAfterNewPolicy(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	var tags []loops.Tag
	for n := range 7 {
		tags = append(tags, b.handedOver(t, fmt.Sprintf("owner%d@garden.example", n), at("2026-05-01 15")).Tag)
	}
	ctx := t.Context()
	done, err := b.Replan(ctx, at("2026-05-02 09"), 3)
	require.NoError(t, err)
	assert.Equal(t, workshop.Replanned{Looked: 7}, done, "all are up to date")

	again := b.withPolicy(t, 5)
	done, err = again.Replan(ctx, at("2026-05-03 09"), 3)
	require.NoError(t, err)
	assert.Equal(t, workshop.Replanned{Looked: 7, Renewed: 7, Moved: 7}, done)
	for _, tag := range tags {
		file, err := b.File(tag)
		require.NoError(t, err)
		assert.Equal(t, at("2026-05-03 09").At, file.Loop.Plan.Made)
	}
	dues, err := b.store.DueThrough(loops.Day{Year: 2026, Month: time.October, Dom: 1})
	require.NoError(t, err)
	changes := 0
	for _, d := range dues {
		if d.Task == loops.CoolantChange {
			changes++
		}
	}
	assert.Equal(t, 7, changes, "the index moved with the plans")
	report, err := b.store.Check(ctx)
	require.NoError(t, err)
	assert.Empty(t, report.Problems)
	done, err = again.Replan(ctx, at("2026-05-03 10"), 100)
	require.NoError(t, err)
	assert.Zero(t, done.Renewed)

	cancelled, cancel := context.WithCancel(ctx)
	cancel()
	_, err = b.Replan(cancelled, at("2026-05-04 09"), 3)
	require.ErrorIs(t, err, context.Canceled)
}

// What openings teach moves no plan, so that no lesson writes one.
func TestALessonWritesNoPlan(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	require.NoError(t, b.store.PutEvidence(loops.Evidence{Version: 1, Made: at("2026-05-02 09").At, Notices: []loops.EvidenceNotice{{Cause: loops.CauseClog, Failed: 3, Of: 5, Text: "3 of 5", Reason: "a pattern"}}}, "schedule"))
	renewed, err := b.Learn(t.Context(), at("2026-05-03 09"))
	require.NoError(t, err)
	assert.Zero(t, renewed)
	versions, err := b.EvidenceVersions()
	require.NoError(t, err)
	assert.Len(t, versions, 2, "the pattern is gone")
	file, err := b.File(loop.Tag)
	require.NoError(t, err)
	assert.Equal(t, loop.Revision, file.Loop.Revision)
}

// property returns all values of a property in a calendar.
func property(feed []byte, name string) []string {
	unfolded := strings.ReplaceAll(string(feed), "\r\n ", "")
	var out []string
	for _, m := range regexp.MustCompile(`(?m)^`+name+`:(.*)\r$`).FindAllStringSubmatch(unfolded, -1) {
		out = append(out, m[1])
	}
	return out
}

// calendarPart returns the event that rides in a mail.
func calendarPart(t *testing.T, raw []byte) []byte {
	t.Helper()
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	require.NoError(t, err)
	_, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	require.NoError(t, err)
	for parts := multipart.NewReader(m.Body, params["boundary"]); ; {
		part, err := parts.NextPart()
		require.NoError(t, err, "no calendar in the mail")
		if strings.HasPrefix(part.Header.Get("Content-Type"), "text/calendar") {
			event, err := io.ReadAll(part)
			require.NoError(t, err)
			return event
		}
	}
}

// A feed is the same until a plan changes; then the events keep their ids and
// raise their sequence.
func TestFeedsKeepIdsAndRaiseSequences(t *testing.T) {
	t.Parallel()
	b := newBench(t)
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	other := b.handedOver(t, "rui@garden.example", at("2026-05-01 16"))
	before, err := b.OwnerCalendar(1)
	require.NoError(t, err)
	again, err := b.OwnerCalendar(1)
	require.NoError(t, err)
	assert.Equal(t, string(before), string(again))
	uids := property(before, "UID")
	assert.Len(t, uids, len(loop.Plan.Tasks))
	assert.NotContains(t, string(before), string(other.Tag), "nobody else's machines")

	owner, err := b.store.Owner(1)
	require.NoError(t, err)
	_, err = b.Answer(at("2026-06-01 10"), owner, loops.Answer{Answer: loops.AllFine, Tasks: []loops.TaskKind{loops.Look}})
	require.NoError(t, err)
	recorded, err := b.File(loop.Tag)
	require.NoError(t, err)
	require.Greater(t, recorded.Loop.Revision, loop.Revision)
	after, err := b.OwnerCalendar(1)
	require.NoError(t, err)
	assert.Equal(t, uids, property(after, "UID"))
	for i, s := range property(after, "SEQUENCE") {
		assert.Equal(t, fmt.Sprint(loop.Revision), property(before, "SEQUENCE")[i])
		assert.Equal(t, fmt.Sprint(recorded.Loop.Revision), s)
	}
	assert.NotEqual(t, property(before, "LAST-MODIFIED"), property(after, "LAST-MODIFIED"))
	assert.NotEqual(t, property(before, "DTSTART;VALUE=DATE"), property(after, "DTSTART;VALUE=DATE"))

	// The mail's event is the feed's.
	b.delivered(t, at("2026-06-01 11").At)
	swept, err := b.Sweep(workshop.Stamp{At: recorded.Loop.Plan.Tasks[0].Due.At(12, time.UTC), By: "schedule"})
	require.NoError(t, err)
	require.NotEmpty(t, swept.Reminders)
	message, err := b.store.Message(swept.Reminders[0].Key)
	require.NoError(t, err)
	mailed := calendarPart(t, message.Raw)
	require.NotEmpty(t, property(mailed, "UID"))
	for i, uid := range property(mailed, "UID") {
		at := slices.Index(property(after, "UID"), uid)
		require.GreaterOrEqual(t, at, 0, "%s is not in the feed", uid)
		for _, same := range []string{"SEQUENCE", "DTSTART;VALUE=DATE", "SUMMARY", "DESCRIPTION"} {
			assert.Equal(t, property(after, same)[at], property(mailed, same)[i], same)
		}
	}

	_, err = b.Do(at("2026-06-02 10"), loop.Tag, loops.Entry{Kind: loops.KindSetting, Setting: &loops.Setting{Task: loops.Look, Paused: true, Why: "abroad"}})
	require.NoError(t, err)
	paused, err := b.OwnerCalendar(1)
	require.NoError(t, err)
	assert.Len(t, property(paused, "UID"), len(uids)-1, "a paused task stands in no calendar")

	feed, err := b.TechnicianCalendar(at("2026-06-02 10").At)
	require.NoError(t, err)
	assert.Contains(t, string(feed), string(other.Tag))
	assert.Contains(t, strings.Join(property(feed, "SUMMARY"), "\n"), "Ana Ruizado")
	assert.Contains(t, strings.Join(property(feed, "URL"), "\n"), "https://loops.test.example/loops/"+string(loop.Tag))
	_, err = b.OwnerCalendar(99)
	assert.ErrorIs(t, err, loops.ErrNotFound)
}

func TestMorning(t *testing.T) {
	t.Parallel()
	b, _ := mailBench(t)
	now := at("2026-09-01 07")
	loop := b.handedOver(t, "ana@garden.example", at("2026-05-01 15"))
	_, err := b.Do(at("2026-08-30 10"), loop.Tag, loops.Entry{Kind: loops.KindInspection, Inspection: &loops.Inspection{Verdict: loops.Watch, Missing: new(chemistry.Litre(0.04))}})
	require.NoError(t, err)

	// A machine on the bench, promised back, and what stands on the shelf.
	back, err := b.AddMachine(now, loops.Machine{Owner: 1, Kind: loops.Desktop, Name: "the attic PC", PromisedBack: loops.Day{Year: 2026, Month: time.August, Dom: 30}})
	require.NoError(t, err)
	bench, err := b.AddLoop(now, loops.Loop{Machine: back.ID, Construction: loops.Construction{Volume: 0.3}})
	require.NoError(t, err)
	d := func(month time.Month, dom int) loops.Day { return loops.Day{Year: 2026, Month: month, Dom: dom} }
	containers := []loops.Container{
		{Kind: loops.PremixBottle, Product: "Bench Blue", Lot: "L-3", Fluid: chemistry.PropyleneGlycol, Mass: new(chemistry.MassFraction(0.4)), Left: 2, Expires: d(time.September, 20)},
		{Kind: loops.WaterContainer, Product: "dilution water", Fluid: chemistry.TreatedWater, Left: 5},
		{Kind: loops.WaterContainer, Product: "empty", Fluid: chemistry.TreatedWater, Expires: d(time.May, 1)},
	}
	for i := range containers {
		containers[i].ID, err = b.store.NewContainerID()
		require.NoError(t, err)
	}
	instruments := []loops.Instrument{
		{Kind: loops.Refractometer, Name: "the old one", Checks: []loops.InstrumentCheck{{Day: d(time.June, 1), By: "test", Against: "water"}}},
		{Kind: loops.Scale, Name: "never checked"},
		{Kind: loops.PHMeter, Name: "fresh", Checks: []loops.InstrumentCheck{{Day: d(time.August, 28), By: "test", Against: "buffer"}}},
		{Kind: loops.PHMeter, Name: "gone", Retired: d(time.May, 1)},
	}
	for i := range instruments {
		instruments[i].ID, err = b.store.NewInstrumentID()
		require.NoError(t, err)
	}
	require.NoError(t, b.store.Commit(loops.Change{At: now.At, By: "test", Action: "shelf", Shelf: loops.Shelf{Containers: containers, Instruments: instruments}}))

	m, err := b.Morning(now.At)
	require.NoError(t, err)
	assert.NotEmpty(t, m.Overdue)
	require.Len(t, m.Promised, 1)
	assert.Equal(t, schedule.Promised{Machine: "the attic PC", Owner: "Ana Ruizado", Tags: []loops.Tag{bench.Tag}, Day: d(time.August, 30), OverdueDays: 2}, m.Promised[0])
	require.Len(t, m.Containers, 1)
	assert.Equal(t, "Bench Blue", m.Containers[0].Product)
	assert.Equal(t, -19, m.Containers[0].OverdueDays)
	require.Len(t, m.Instruments, 2)
	assert.Equal(t, "never checked", m.Instruments[0].Name)
	assert.Equal(t, "the old one", m.Instruments[1].Name)
	require.NotEmpty(t, m.Bring)

	// The mail of the morning says all of it, and how far each task has come.
	sent, err := b.MailMorning(at("2026-09-01 09"))
	require.NoError(t, err)
	require.True(t, sent)
	_, mail := b.latest(t, loops.PurposeMorning)
	text := squeeze(mail.Text)
	for _, says := range []string{m.Promised[0].Sentence(), m.Containers[0].Sentence(), m.Instruments[0].Sentence(), m.Instruments[1].Sentence(), m.Bring[0].Sentence()} {
		assert.Contains(t, text, squeeze(says))
	}
	assert.Equal(t, "the attic PC, Ana Ruizado (no telephone on record): Sun 30 Aug 2026, 2 days over.", m.Promised[0].Sentence())
	for _, l := range m.Overdue {
		stage, _ := schedule.StageOn(schedule.DefaultPolicy(), l.Due, m.Day)
		assert.Equal(t, stage, l.Stage)
		assert.Contains(t, text, squeeze(l.Standing()))
		assert.Contains(t, text, squeeze(l.Because()))
	}
	total := chemistry.Litre(0)
	for _, line := range m.Bring {
		assert.Equal(t, []loops.Tag{loop.Tag}, line.For)
		assert.Contains(t, line.Note, "top-up check")
		total += line.Volume
	}
	assert.InDelta(t, 0.04, float64(total), 0.002, "the room to the mark")
}
