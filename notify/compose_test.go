// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"flag"
	"mime"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/chemistry"
	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
)

var update = flag.Bool("update", false, "rewrite the golden letters")

func TestGoldenLetters(t *testing.T) {
	t.Parallel()
	one, err := notify.ComposeReminder(reminder())
	require.NoError(t, err)
	many, err := notify.ComposeReminder(several())
	require.NoError(t, err)
	back, err := notify.ComposeHandover(handover())
	require.NoError(t, err)
	us := handover()
	us.Owner.Units = loops.USCustomary
	fahrenheit, err := notify.ComposeHandover(us)
	require.NoError(t, err)

	grouped, err := notify.ComposeReminder(grouped())
	require.NoError(t, err)
	receipt, err := notify.ComposeReceipt(receipt(loops.SomethingOff))
	require.NoError(t, err)

	letters := map[string]notify.Letter{
		"reminder": one, "reminder-several": many, "reminder-grouped": grouped, "handover": back, "handover-us": fahrenheit, "receipt": receipt,
	}
	for _, l := range loops.Languages()[1:] {
		many, err := notify.ComposeReminder(reminderIn(l, several()))
		require.NoError(t, err)
		back, err := notify.ComposeHandover(handoverIn(l))
		require.NoError(t, err)
		letters["reminder-several-"+string(l)], letters["handover-"+string(l)] = many, back
	}
	for name, l := range letters {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			golden := filepath.Join("testdata", name+".eml")
			if *update {
				require.NoError(t, os.WriteFile(golden, l.Raw, 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err)
			assert.Equal(t, string(want), string(l.Raw))
			checkLetter(t, l)
		})
	}
}

// headerNames are the header fields of a letter with a one-click address, in
// order: no more, no fewer, whatever names and subjects hold.
var headerNames = []string{"From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted",
	"List-Unsubscribe", "List-Unsubscribe-Post", "MIME-Version", "Content-Type"}

// checkLetter holds a letter to the form that mail must have.
func checkLetter(t testing.TB, l notify.Letter) {
	t.Helper()
	raw := string(l.Raw)
	require.True(t, strings.HasSuffix(raw, "\r\n"), "ends with CRLF")
	bare := strings.ReplaceAll(raw, "\r\n", "")
	require.NotContains(t, bare, "\r")
	require.NotContains(t, bare, "\n")
	for line := range strings.SplitSeq(raw, "\r\n") {
		require.LessOrEqual(t, len(line), 998, "RFC 5322 2.1.1")
		if strings.Contains(line, "=?utf-8?") {
			require.LessOrEqual(t, len(line), 76, "RFC 2047 section 2: %s", line)
		}
		for i := range len(line) {
			require.True(t, line[i] >= 0x20 && line[i] < 0x7f || line[i] == '\t', "7-bit: %q", line)
		}
	}
	head, _, ok := strings.Cut(raw, "\r\n\r\n")
	require.True(t, ok)
	var names []string
	for line := range strings.SplitSeq(head, "\r\n") {
		if name, _, found := strings.Cut(line, ":"); found && line[0] != ' ' {
			names = append(names, name)
		}
	}
	header, parts := read(t, l.Raw)
	wanted, oneClick := headerNames, "List-Unsubscribe=One-Click"
	if strings.HasPrefix(header.Get("List-Unsubscribe"), "<mailto:") {
		wanted, oneClick = slices.DeleteFunc(slices.Clone(headerNames), func(n string) bool { return n == "List-Unsubscribe-Post" }), ""
	}
	require.Equal(t, wanted, names)
	require.Contains(t, parts, "text/plain")
	require.Contains(t, parts, "text/html")
	subject, err := new(mime.WordDecoder).DecodeHeader(header.Get("Subject"))
	require.NoError(t, err)
	require.Equal(t, l.Subject, subject)
	to, err := mail.ParseAddress(header.Get("To"))
	require.NoError(t, err)
	require.Equal(t, l.To, to.Address)
	require.Equal(t, "auto-generated", header.Get("Auto-Submitted"))
	require.Equal(t, oneClick, header.Get("List-Unsubscribe-Post"))
}

// The mail of the day itself is told from the one that came ahead of it.
func TestReminderSubjectSaysHowFarTheDayIs(t *testing.T) {
	t.Parallel()
	for days, want := range map[int]string{3: "look-over by Fri 27 Nov 2026", 0: "look-over today, Tue 24 Nov 2026", -4: "look-over was due Fri 20 Nov 2026"} {
		in := reminder()
		in.Items[0].Due = today.AddDays(days)
		l, err := notify.ComposeReminder(in)
		require.NoError(t, err)
		require.Contains(t, l.Subject, want)
	}
}

// A name that turns the direction of the line shows that it does: a subject or
// an address would else read as something that it is not.
func TestHeadersShowWhatTurnsTheLine(t *testing.T) {
	t.Parallel()
	in := reminder()
	in.Items[0].Machine, in.Owner.Name = "gpj\u202e.box", "Ana \u2066x"
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	read, err := notify.ReadPreview(l.Raw)
	require.NoError(t, err)
	assert.Contains(t, read.Subject, "pj<U+202E>.box")
	assert.Contains(t, read.To, "<U+2066>x")
	assert.Equal(t, read.Subject, l.Subject)
}

func TestReminderSaysWhatMatters(t *testing.T) {
	t.Parallel()
	l, err := notify.ComposeReminder(several())
	require.NoError(t, err)
	_, parts := read(t, l.Raw)
	text := strings.Join(strings.Fields(parts["text/plain"]), " ")
	for _, want := range []string{
		"Good day Żaneta Müller-Åström,",
		"The label on it reads 7K3M9Q.",
		"COMING UP: Look-over by Thu 3 Dec 2026 (in 9 days)",
		"LATE: Look-over by Tue 10 Nov 2026 (14 days ago)",
		"It is sealed: there is no level or colour to look at.",
		"Add nothing yourself, not even water.",
		"Look where the liquid stands against the mark.",
		"Leave its wiring and its refrigerant to people licensed for them.",
		"the same as for the grey tower above",
		"Switch it off and pull the plug at the wall",
		"Stop these mails: https://fillmark.tidewater.example/o/stop?t=abc123",
	} {
		assert.Contains(t, text, want)
	}
	for line := range strings.SplitSeq(parts["text/plain"], "\n") {
		if !strings.Contains(line, "https://") {
			assert.LessOrEqual(t, utf8.RuneCountInString(line), 72, line)
		}
	}
}

// No jargon and nothing that needs a level or a colour reaches the owner of a
// sealed loop.
func TestSealedLoopsAreNotLookedInto(t *testing.T) {
	t.Parallel()
	for _, kind := range loops.MachineKinds() {
		for _, fluid := range chemistry.Fluids() {
			sealed := notify.GuideFor(words.In(loops.English), loops.Look, kind, true, fluid, "call us")
			steps := strings.Join(sealed.Steps, " ")
			assert.NotContains(t, steps, "mark")
			assert.NotContains(t, steps, "Hold a lamp behind the liquid")
			assert.Contains(t, steps, "listen")
			assert.Contains(t, strings.Join(sealed.Leave, " "), "no level or colour")
			open := notify.GuideFor(words.In(loops.English), loops.Look, kind, false, fluid, "call us")
			assert.Contains(t, strings.Join(open.Steps, " "), "against the mark")
			for _, g := range []notify.Guide{sealed, open, notify.GuideFor(words.In(loops.English), loops.CoolantChange, kind, true, fluid, "call us")} {
				assert.LessOrEqual(t, len(g.Steps), 5)
				assert.Contains(t, strings.Join(g.Leave, " "), "Add nothing yourself, not even water")
				assert.Contains(t, g.Wet, "pull the plug at the wall")
				assert.Equal(t, fluid == chemistry.EthyleneGlycol, strings.Contains(g.Wet, "poisonous"))
				assert.Equal(t, kind.IsChiller(), strings.Contains(strings.Join(g.Leave, " "), "refrigerant"))
				all := strings.Join(g.Steps, " ") + strings.Join(g.Leave, " ") + g.Wet
				for _, jargon := range []string{"coolant", "loop", "inhibitor", "biocide", "CPU", "GPU", "reservoir", "cold plate", "pH"} {
					assert.NotContains(t, all, jargon)
				}
			}
		}
	}
}

// The HTML says every sentence of the text.
func TestHTMLRepeatsText(t *testing.T) {
	t.Parallel()
	morning, err := notify.ComposeMorning(morning())
	require.NoError(t, err)
	letters := []notify.Letter{morning}
	for _, in := range []notify.ReminderInput{reminder(), several(), grouped()} {
		l, err := notify.ComposeReminder(in)
		require.NoError(t, err)
		letters = append(letters, l)
	}
	for _, kind := range []loops.AnswerKind{loops.AllFine, loops.SomethingOff, loops.CallMe, loops.Pause} {
		l, err := notify.ComposeReceipt(receipt(kind))
		require.NoError(t, err)
		letters = append(letters, l)
	}
	for _, l := range letters {
		_, parts := read(t, l.Raw)
		sameWords(t, parts["text/plain"], parts["text/html"])
	}
	printed, err := notify.ComposePrinted(grouped())
	require.NoError(t, err)
	sameWords(t, printed.Text, printed.HTML)
}

// Whatever address a record takes can be printed, in one line too.
func TestPrintedWithALongAddress(t *testing.T) {
	t.Parallel()
	in := grouped()
	in.Owner.Address = strings.Repeat("12 Long Road ", 38)
	require.NoError(t, in.Owner.Validate())
	_, err := notify.ComposePrinted(in)
	require.NoError(t, err)
}

func sameWords(t *testing.T, text, html string) {
	t.Helper()
	html = squeeze(strings.NewReplacer("&#39;", "'", "&#43;", "+", "&lt;", "<", "&gt;", ">", "&amp;", "&").Replace(html))
	for paragraph := range strings.SplitSeq(text, "\n\n") {
		for line := range strings.SplitSeq(paragraph, "\n") {
			line = strings.TrimLeft(line, "0123456789.- ")
			line = strings.TrimSuffix(line, ":")
			for part := range strings.SplitSeq(line, ": ") {
				if strings.Trim(part, "─- ") != "" {
					assert.Contains(t, html, squeeze(part), "text has it, HTML has not")
				}
			}
		}
	}
	assert.NotContains(t, html, "<img")
	assert.NotContains(t, html, "<script")
	assert.NotContains(t, html, "url(")
}

func squeeze(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return r
	}, s)
}

func TestComposeIsDeterministic(t *testing.T) {
	t.Parallel()
	a, err := notify.ComposeReminder(several())
	require.NoError(t, err)
	b, err := notify.ComposeReminder(several())
	require.NoError(t, err)
	assert.Equal(t, a, b)
}

func TestLetterWithoutLinks(t *testing.T) {
	t.Parallel()
	in := reminder()
	in.Links, in.Workshop.BaseURL, in.Workshop.Phone = notify.Links{}, "", ""
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	assert.NotContains(t, string(l.Raw), "List-Unsubscribe")
	_, parts := read(t, l.Raw)
	assert.NotContains(t, parts["text/plain"], "Stop these mails")
	assert.NotContains(t, parts["text/plain"], "call us on")
}

func TestComposeRefuses(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, field string
		spoil       func(*notify.ReminderInput)
	}{
		{"line break in the owner's name", "owner name", func(in *notify.ReminderInput) { in.Owner.Name = "Anna\r\nBcc: eve@evil.example" }},
		{"bare CR in the workshop's name", "workshop name", func(in *notify.ReminderInput) { in.Workshop.Name = "Bench\rX" }},
		{"no name", "owner name", func(in *notify.ReminderInput) { in.Owner.Name = " " }},
		{"two addresses", "owner address", func(in *notify.ReminderInput) { in.Owner.Email = "a@b.example, c@d.example" }},
		{"address with parameter", "owner address", func(in *notify.ReminderInput) { in.Owner.Email = "a@b.example> RET=FULL" }},
		{"mailbox outside ASCII", "owner address", func(in *notify.ReminderInput) { in.Owner.Email = "änna@garden.example" }},
		{"no address", "owner address", func(in *notify.ReminderInput) { in.Owner.Email = "" }},
		{"no day", "day", func(in *notify.ReminderInput) { in.Day = loops.Day{} }},
		{"year 1", "date", func(in *notify.ReminderInput) { in.Date = in.Date.AddDate(-2025, 0, 0) }},
		{"message id with line break", "message id", func(in *notify.ReminderInput) { in.MessageID = "<a@b>\r\nX: y" }},
		{"message id bare", "message id", func(in *notify.ReminderInput) { in.MessageID = "a@b.example" }},
		{"no items", "items", func(in *notify.ReminderInput) { in.Items = nil }},
		{"no cautions", "cautions", func(in *notify.ReminderInput) { in.Cautions = nil }},
		{"stage call", "item 1 stage", func(in *notify.ReminderInput) { in.Items[0].Stage = loops.StageCall }},
		{"unknown task", "item 1 task", func(in *notify.ReminderInput) { in.Items[0].Task = "polish" }},
		{"unknown fluid", "item 1 fluid", func(in *notify.ReminderInput) { in.Items[0].Fluid = "oil" }},
		{"no source", "item 1 source", func(in *notify.ReminderInput) { in.Items[0].Source = "" }},
		{"six steps", "item 1 guide", func(in *notify.ReminderInput) {
			in.Items[0].Guide = &notify.Guide{Steps: strings.Split("abcdef", ""), Leave: []string{"x"}, Wet: "y"}
		}},
		{"link elsewhere", "link stop", func(in *notify.ReminderInput) { in.Links.Stop = "https://evil.example/x" }},
		{"link to a look-alike", "link stop", func(in *notify.ReminderInput) {
			in.Links.Stop = "https://fillmark.tidewater.example@evil.example/"
		}},
		{"link with script", "link all fine", func(in *notify.ReminderInput) { in.Links.AllFine = "javascript:alert(1)" }},
		{"link with line break", "link one-click", func(in *notify.ReminderInput) { in.Links.OneClick += "\r\nX: y" }},
		{"one-click without TLS", "link one-click", func(in *notify.ReminderInput) {
			in.Workshop.BaseURL = "http://bench.example"
			in.Links = notify.Links{OneClick: "http://bench.example/stop"}
		}},
		{"calendar with bare LF", "calendar", func(in *notify.ReminderInput) { in.Calendar = bytes.ReplaceAll(in.Calendar, []byte("\r"), nil) }},
		{"calendar that invites", "calendar", func(in *notify.ReminderInput) {
			in.Calendar = bytes.ReplaceAll(in.Calendar, []byte("PUBLISH"), []byte("REQUEST"))
		}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			in := reminder()
			tc.spoil(&in)
			l, err := notify.ComposeReminder(in)
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			assert.Equal(t, tc.field, invalid.Field)
			assert.NotEmpty(t, invalid.Reason)
			assert.Empty(t, l.Raw)
		})
	}
}

func TestInternationalDomain(t *testing.T) {
	t.Parallel()
	in := reminder()
	in.Owner.Email = "anna@gärten.example"
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	assert.Equal(t, "anna@xn--grten-gra.example", l.To)
	checkLetter(t, l)
}

func TestMessageIDFollowsKey(t *testing.T) {
	t.Parallel()
	key := loops.NewMessageKey(7, today, loops.PurposeReminder, "")
	id := notify.MessageIDFor("", key, "tidewater.example")
	assert.Equal(t, id, notify.MessageIDFor("", key, "tidewater.example"))
	assert.NotEqual(t, id, notify.MessageIDFor("", key+"/2", "tidewater.example"))
	assert.NotEqual(t, id, notify.MessageIDFor("a1", key, "tidewater.example"))
	assert.NotEqual(t, notify.MessageIDFor("b2", key, "tidewater.example"), notify.MessageIDFor("a1", key, "tidewater.example"))
	assert.Equal(t, "<kept@old.example>", notify.MessageIDOf(loops.Message{Key: key, MessageID: "<kept@old.example>"}, "tidewater.example"))
	assert.Equal(t, id, notify.MessageIDOf(loops.Message{Key: key}, "tidewater.example"), "an earlier version's letter")
	assert.Regexp(t, `^<[0-9a-f]{32}@tidewater\.example>$`, id)
}

// FuzzCompose feeds hostile words into every place that takes words: a letter
// is either refused or keeps its form.
func FuzzCompose(f *testing.F) {
	f.Add("Anna", "the grey tower", "because", "take care")
	f.Add("=?utf-8?q?x?=", `"<>,;:\`, "\r\nBcc: x@y.example", ".\r\n.")
	f.Add(strings.Repeat("ä", 100), strings.Repeat("x", 200), "<script>alert(1)</script>", "{{.}}")
	f.Add("  two  blanks ", "日本語の名前を持つ機械", "--=_boundary--", "\u202eright to left")
	f.Fuzz(func(t *testing.T, name, machine, reason, caution string) {
		in := reminder()
		in.Owner.Name, in.Workshop.Name = name, name
		in.Items[0].Machine, in.Items[0].Reason = machine, reason
		in.Cautions = []string{caution}
		l, err := notify.ComposeReminder(in)
		if err != nil {
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			return
		}
		checkLetter(t, l)
		header, parts := read(t, l.Raw)
		to, err := (&mail.AddressParser{WordDecoder: new(mime.WordDecoder)}).Parse(header.Get("To"))
		require.NoError(t, err)
		require.Equal(t, name, to.Name)
		require.Len(t, parts, 3)
		require.NotContains(t, parts["text/html"], "<script")
	})
}

func BenchmarkComposeReminder(b *testing.B) {
	in := several()
	for b.Loop() {
		if _, err := notify.ComposeReminder(in); err != nil {
			b.Fatal(err)
		}
	}
}
