// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package schedule_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/schedule"
	"fillmark/testdata/peer"
)

var stamp = time.Date(2026, 6, 1, 9, 30, 0, 0, time.UTC)

func event() schedule.Event {
	return schedule.Event{
		UID: "loop-12-look@workshop.example", Sequence: 4, Stamp: stamp,
		Day: loops.Day{Year: 2026, Month: time.December, Dom: 31}, Summary: "Look over: the grey tower (7K3QXA)",
	}
}

// A name that turns the direction of the line shows that it does.
func TestCalendarShowsWhatTurnsTheLine(t *testing.T) {
	t.Parallel()
	e := event()
	e.Summary, e.Description = "Look over: the \u202egnp.box", "\u2066a\u2069"
	got, err := schedule.Calendar{Name: "\u202dLoops", RefreshHours: 24, Events: []schedule.Event{e}}.Encode()
	require.NoError(t, err)
	assert.Contains(t, string(got), "SUMMARY:Look over: the <U+202E>gnp.box\r\n")
	assert.Contains(t, string(got), "DESCRIPTION:<U+2066>a<U+2069>\r\n")
	assert.False(t, strings.ContainsAny(string(got), "\u202d\u202e\u2066\u2069"))
}

func TestCalendarFeed(t *testing.T) {
	t.Parallel()
	got, err := schedule.Calendar{Name: "Loops", RefreshHours: 24, Events: []schedule.Event{event()}}.Encode()
	require.NoError(t, err)
	assert.Equal(t, strings.ReplaceAll(`BEGIN:VCALENDAR
VERSION:2.0
PRODID:-//Fillmark//Loop plan//EN
CALSCALE:GREGORIAN
NAME:Loops
X-WR-CALNAME:Loops
REFRESH-INTERVAL;VALUE=DURATION:PT24H
X-PUBLISHED-TTL:PT24H
BEGIN:VEVENT
UID:loop-12-look@workshop.example
DTSTAMP:20260601T093000Z
LAST-MODIFIED:20260601T093000Z
SEQUENCE:4
DTSTART;VALUE=DATE:20261231
DTEND;VALUE=DATE:20270101
SUMMARY:Look over: the grey tower (7K3QXA)
TRANSP:TRANSPARENT
BEGIN:VALARM
ACTION:DISPLAY
DESCRIPTION:Look over: the grey tower (7K3QXA)
TRIGGER:PT9H
END:VALARM
END:VEVENT
END:VCALENDAR
`, "\n", "\r\n"), string(got))
}

func TestCalendarForMail(t *testing.T) {
	t.Parallel()
	e := event()
	e.URL = "https://workshop.example/a/x?b=c;d,e"
	e.Description = "one, two; three\\\nfour"
	got, err := schedule.Calendar{Organizer: &schedule.Organizer{Name: "Anna \"Loops\"\r\nX-EVIL:1", Email: "anna+50%?x=y@workshop.example"},
		RefreshHours: 24, Events: []schedule.Event{e}}.Encode()
	require.NoError(t, err)
	text := unfold(string(got))
	assert.Contains(t, text, "\r\nMETHOD:PUBLISH\r\n")
	assert.NotContains(t, text, "REFRESH-INTERVAL", "a mail is not a feed")
	assert.Contains(t, text, "\r\nORGANIZER;CN=\"Anna 'Loops' X-EVIL:1\":mailto:anna+50%25%3Fx=y@workshop.example\r\n")
	assert.Contains(t, text, "\r\nURL:https://workshop.example/a/x?b=c;d,e\r\n")
	assert.Contains(t, text, "\r\nDESCRIPTION:one\\, two\\; three\\\\\\nfour\r\n")
}

// ownersEvent is an event in an owner's words, in English.
func ownersEvent(i schedule.Item, domain, link string, stamp time.Time) schedule.Event {
	about, _ := loops.AboutTask(i.Task.Kind)
	return schedule.NewEvent(i, domain, link, stamp, about.OwnerTitle+":", func(c loops.Clause) string {
		return c.Day.Long() + ": " + c.ForOwner() + " We go by: " + c.SourceForOwner() + "."
	})
}

func TestEventOfItem(t *testing.T) {
	t.Parallel()
	i := item(owner(1), 12, loops.LeakCheckTask, day(t, "2026-12-31"))
	i.Loop.Name, i.Loop.Revision = "second loop", 9
	event := func(i schedule.Item) schedule.Event { return ownersEvent(i, "workshop.example", "", stamp) }
	e := event(i)
	assert.Equal(t, "loop-12-leak-check@workshop.example", e.UID)
	assert.Equal(t, uint64(9), e.Sequence)
	assert.Equal(t, "Check for leaks: the grey tower, second loop (7K3QXA)", e.Summary)
	assert.Equal(t, "Thu 31 Dec 2026: Look over every 3 months; last looked over on Sat 31 Jan 2026. We go by: common practice in the trade.", e.Description)

	i.Task.Clauses[0].OwnerText = "A short look-over keeps small troubles small."
	assert.Contains(t, event(i).Description, "small troubles")
	agreed := i
	agreed.Loop.State.Agreed = day(t, "2027-01-14")
	assert.Equal(t, agreed.Loop.State.Agreed, schedule.NewTechnicianEvent(agreed, "workshop.example", "", stamp).Day, "the day that was agreed with the owner")
	technician := schedule.NewTechnicianEvent(i, "workshop.example", "", stamp)
	assert.Contains(t, technician.Description, "Look over every 3 months")
	assert.Equal(t, e.UID, technician.UID)
	assert.Equal(t, "Leak check: the grey tower, second loop (7K3QXA), Owner 1", technician.Summary)
	assert.Contains(t, technician.Description, "(common practice, no source; common practice)")

	moved := i
	moved.Task.Due, moved.Loop.Revision = i.Task.Due.AddDays(3), 10
	later := event(moved)
	assert.Equal(t, e.UID, later.UID, "a change keeps the id")
	assert.Greater(t, later.Sequence, e.Sequence, "and raises the sequence")
}

func TestCalendarRefuses(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name, field string
		change      func(*schedule.Calendar)
	}{
		{"no uid", "uid", func(c *schedule.Calendar) { c.Events[0].UID = "" }},
		{"uid with a line break", "uid", func(c *schedule.Calendar) { c.Events[0].UID = "a@b\r\nX-EVIL:1" }},
		{"uid twice", "uid", func(c *schedule.Calendar) { c.Events = append(c.Events, c.Events[0]) }},
		{"no day", "day", func(c *schedule.Calendar) { c.Events[0].Day = loops.Day{} }},
		{"no stamp", "stamp", func(c *schedule.Calendar) { c.Events[0].Stamp = time.Time{} }},
		{"url with a line break", "url", func(c *schedule.Calendar) { c.Events[0].URL = "https://a.example/\r\nX-EVIL:1" }},
		{"url of a script", "url", func(c *schedule.Calendar) { c.Events[0].URL = "javascript://a.example/" }},
		{"url without a host", "url", func(c *schedule.Calendar) { c.Events[0].URL = "https:///x" }},
		{"organizer is no address", "organizer", func(c *schedule.Calendar) { c.Organizer.Email = "anna" }},
		{"organizer with a line break", "organizer", func(c *schedule.Calendar) { c.Organizer.Email = "anna@a.example\r\nX-EVIL:1" }},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			c := schedule.Calendar{Organizer: &schedule.Organizer{Name: "Anna", Email: "anna@workshop.example"}, Events: []schedule.Event{event()}}
			tt.change(&c)
			got, err := c.Encode()
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			assert.Equal(t, tt.field, invalid.Field)
			assert.Empty(t, got)
		})
	}
}

func unfold(s string) string { return strings.ReplaceAll(s, "\r\n ", "") }

// hostile draws text that tries to break out of a calendar line.
func hostile() *rapid.Generator[string] {
	piece := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{
		"\r\n", "\n", "\r", "\\", "\\n", ";", ",", ":", `"`, "\x00", "\u0085", "\u2028", "\u2029", "\x0b", "\x0c", "\t", " ", "  ",
		"\r\nEND:VEVENT\r\n", "\r\nX-EVIL:1", "\xff", "\xc3", "é", "ß", "水", "👩‍🔧", "\u202e", "\ufeff", strings.Repeat("x", 74), strings.Repeat(" ", 200), strings.Repeat("\u3000\t", 40), strings.Repeat(`\`, 80), strings.Repeat("ö;", 50),
	}))
	return rapid.Custom(func(t *rapid.T) string { return strings.Join(rapid.SliceOfN(piece, 0, 8).Draw(t, "pieces"), "") })
}

// anyCalendar draws a calendar full of hostile text.
func anyCalendar(t *rapid.T) schedule.Calendar {
	c := schedule.Calendar{Name: hostile().Draw(t, "name"), RefreshHours: rapid.IntRange(0, 48).Draw(t, "refresh")}
	if rapid.Bool().Draw(t, "mail") {
		c.Organizer = &schedule.Organizer{Name: hostile().Draw(t, "organizer"), Email: "anna+loops@workshop.example"}
	}
	for n := range rapid.IntRange(1, 3).Draw(t, "events") {
		i := item(owner(1), loops.LoopID(n+1), rapid.SampledFrom(loops.TaskKinds()).Draw(t, "task"), anyDay(t, "due"))
		i.Machine.Name, i.Loop.Name = hostile().Draw(t, "machine"), hostile().Draw(t, "loop")
		i.Loop.Revision = rapid.Uint64Range(0, 1<<31-1).Draw(t, "revision")
		i.Owner.Name = hostile().Draw(t, "owner")
		for range rapid.IntRange(1, 4).Draw(t, "clauses") {
			i.Task.Clauses = append(i.Task.Clauses, loops.Clause{Kind: loops.ByFinding, Day: i.Task.Due, Text: hostile().Draw(t, "text"),
				OwnerText: hostile().Draw(t, "owner text"), Source: hostile().Draw(t, "source"), Grade: schedule.GradeRecord})
		}
		event := rapid.SampledFrom([]func(schedule.Item, string, string, time.Time) schedule.Event{ownersEvent, schedule.NewTechnicianEvent}).Draw(t, "for whom")
		e := event(i, "workshop.example", rapid.SampledFrom([]string{"", "https://workshop.example/answer/abc?x=1&y=2"}).Draw(t, "url"), stamp)
		e.Location = hostile().Draw(t, "location")
		c.Events = append(c.Events, e)
	}
	return c
}

// decode undoes RFC 5545's escapes of TEXT.
func decode(s string) string {
	return strings.NewReplacer(`\\`, `\`, `\n`, "\n", `\;`, ";", `\,`, ",").Replace(s)
}

func TestCalendarProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := anyCalendar(t)
		raw, err := c.Encode()
		require.NoError(t, err)
		require.True(t, utf8.Valid(raw))
		text := string(raw)
		require.True(t, strings.HasSuffix(text, "\r\n"))
		physical := strings.SplitSeq(strings.TrimSuffix(text, "\r\n"), "\r\n")
		for line := range physical {
			require.LessOrEqual(t, len(line), 75)
			require.True(t, utf8.ValidString(line), "folded inside a character")
			require.NotContains(t, line, "\n")
			require.NotContains(t, line, "\r")
			trailing := len(line) - len(strings.TrimRight(line, `\`))
			require.NotEmpty(t, strings.TrimSpace(line), "a line of blanks ends the property for some")
			require.Zero(t, trailing%2, "folded between a backslash and what it escapes: %q", line)
		}
		// Every line there is was meant: nothing a value holds starts one.
		properties := "BEGIN VERSION PRODID CALSCALE METHOD NAME X-WR-CALNAME REFRESH-INTERVAL X-PUBLISHED-TTL UID DTSTAMP " +
			"LAST-MODIFIED SEQUENCE DTSTART DTEND ORGANIZER SUMMARY DESCRIPTION LOCATION URL TRANSP ACTION TRIGGER END"
		var summaries []string
		for line := range strings.SplitSeq(strings.TrimSuffix(unfold(text), "\r\n"), "\r\n") {
			name, value, ok := strings.Cut(line, ":")
			require.True(t, ok, line)
			name, _, _ = strings.Cut(name, ";")
			require.Contains(t, strings.Fields(properties), name)
			if name == "SUMMARY" {
				summaries = append(summaries, decode(value))
			}
		}
		require.Len(t, summaries, len(c.Events))
		assert.Equal(t, len(c.Events), strings.Count(text, "\r\nEND:VEVENT\r\n"))
		assert.Equal(t, len(c.Events), strings.Count(text, "\r\nBEGIN:VALARM\r\nACTION:DISPLAY\r\nDESCRIPTION:"), "an alarm for each")
		for i, e := range c.Events {
			assert.Equal(t, shown(e.Summary), summaries[i])
		}
	})
}

// shown is what a reader must see of a text: its own rules, written apart from
// the program's, over runes.
func shown(s string) string {
	var b strings.Builder
	runes := []rune(strings.ToValidUTF8(s, "\uFFFD"))
	for i, r := range runes {
		switch {
		case r == '\n' && i > 0 && runes[i-1] == '\r':
		case r == '\r', r == '\n', r == 0x85, r == 0x2028, r == 0x2029:
			b.WriteRune('\n')
		case r == '\v', r == '\f', r == '\t', r == 0x1680, r >= 0x2000 && r <= 0x200a, r == 0x202f, r == 0x205f, r == 0x3000, r == 0xa0:
			b.WriteRune(' ')
		case r < ' ', r >= 0x7f && r < 0xa0:
		case r == 0x61c, r == 0x200e, r == 0x200f, r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			fmt.Fprintf(&b, "<U+%04X>", r)
		default:
			b.WriteRune(r)
		}
	}
	return strings.Trim(regexp.MustCompile(" +").ReplaceAllString(b.String(), " "), " ")
}

// calendars draws a thousand calendars, the same ones every time.
func calendars(t *testing.T) []schedule.Calendar {
	generator := rapid.Custom(anyCalendar)
	all := make([]schedule.Calendar, 1000)
	for i := range all {
		all[i] = generator.Example(i)
	}
	return all
}

// libical's own check of RFC 5545 and RFC 5546 finds nothing to complain about.
func TestLibicalAccepts(t *testing.T) {
	t.Parallel()
	compiler := peer.Program(t, "cc")
	peer.File(t, "/usr/include/libical/ical.h")
	binary := filepath.Join(t.TempDir(), "icalcheck")
	out, err := exec.CommandContext(t.Context(), compiler, "-o", binary, filepath.Join("testdata", "icalcheck.c"), "-lical").CombinedOutput()
	require.NoError(t, err, "%s", out)
	// RFC 5546, section 3.2.1: PUBLISH needs an organizer. That libical says so
	// shows that its check is at work.
	raw, err := schedule.Calendar{Events: []schedule.Event{event()}}.Encode()
	require.NoError(t, err)
	check := exec.CommandContext(t.Context(), binary)
	check.Stdin = strings.NewReader(strings.Replace(string(raw), "CALSCALE", "METHOD:PUBLISH\r\nCALSCALE", 1) + "----\n")
	out, err = check.CombinedOutput()
	require.Error(t, err)
	assert.Contains(t, string(out), "1 calendars, 1 bad")

	var in bytes.Buffer
	for _, c := range calendars(t) {
		raw, err := c.Encode()
		require.NoError(t, err)
		in.Write(raw)
		in.WriteString("----\n")
	}
	check = exec.CommandContext(t.Context(), binary)
	check.Stdin = &in
	out, err = check.CombinedOutput()
	require.NoError(t, err, "%s", out)
	assert.Contains(t, string(out), "1000 calendars, 0 bad")
}

// python3-icalendar and python3-vobject read back what was meant.
func TestPythonReadsBack(t *testing.T) {
	t.Parallel()
	const python = "/usr/bin/python3" // another one first in PATH may lack the Debian modules
	peer.Answering(t, python, "-c", "import icalendar, vobject")
	type meant struct {
		UID         string `json:"uid"`
		Sequence    uint64 `json:"sequence"`
		Day         string `json:"day"`
		Summary     string `json:"summary"`
		Description string `json:"description"`
	}
	var in bytes.Buffer
	lines := json.NewEncoder(&in)
	for _, c := range calendars(t) {
		raw, err := c.Encode()
		require.NoError(t, err)
		events := []meant{}
		for _, e := range c.Events {
			events = append(events, meant{e.UID, e.Sequence, e.Day.String(), shown(e.Summary), shown(e.Description)})
		}
		require.NoError(t, lines.Encode(map[string]any{"ics": string(raw), "events": events}))
	}
	check := exec.CommandContext(t.Context(), python, filepath.Join("testdata", "calendar_check.py"))
	check.Stdin = &in
	out, err := check.CombinedOutput()
	require.NoError(t, err, "%s", out)
	assert.Contains(t, string(out), "1000 calendars")
}
