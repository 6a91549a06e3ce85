// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
)

func TestOwnTemplates(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile("templates/letter.txt")
	require.NoError(t, err)
	html, err := os.ReadFile("templates/letter.html")
	require.NoError(t, err)
	for _, tc := range []struct {
		name, file, content, wrong string
	}{
		{"text of its own", "letter.txt", string(text) + "\nOpen on weekdays.\n", ""},
		{"HTML of its own", "letter.html", strings.Replace(string(html), "<body>", "<body><p>Open on weekdays.</p>", 1), ""},
		{"a misspelt field", "letter.txt", "{{.Greetings}}", "letter.txt"},
		{"no template", "letter.html", "{{if}}", "letter.html"},
		{"no cautions", "letter.txt", strings.Replace(string(text), "{{wrap $p}}", "", 1), "leaves out"},
		{"no way to stop", "letter.html", strings.Replace(string(html), `href="{{.Stop.URL}}"`, `href="https://elsewhere.example"`, 1), "leaves out"},
		{"a name as markup", "letter.html", strings.Replace(string(html), `<p>{{.Greeting}}</p>`, "", 1), "leaves out"},
		{"another file", "mail.txt", "x", "letter.txt, letter.html or both"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			dir := t.TempDir()
			require.NoError(t, os.WriteFile(filepath.Join(dir, tc.file), []byte(tc.content), 0o600))
			loaded, err := notify.LoadTemplates(dir)
			if tc.wrong != "" {
				require.ErrorContains(t, err, tc.wrong)
				require.ErrorContains(t, err, dir)
				return
			}
			require.NoError(t, err)
			in := reminder()
			in.Workshop.Templates = loaded
			l, err := notify.ComposeReminder(in)
			require.NoError(t, err)
			checkLetter(t, l)
			built, err := notify.ComposeReminder(reminder())
			require.NoError(t, err)
			assert.NotEqual(t, string(built.Raw), string(l.Raw))
		})
	}
}

func TestTasksOfOneLoopAreOneBlock(t *testing.T) {
	t.Parallel()
	l, err := notify.ComposeReminder(grouped())
	require.NoError(t, err)
	_, parts := read(t, l.Raw)
	text := squeeze(parts["text/plain"])
	for _, once := range []string{"In it: 40 % ethylene", "What to do\n", "What to leave alone", "the rest is done in our workshop"} {
		assert.Equal(t, 1, strings.Count(text, squeeze(once)), once)
	}
	assert.Equal(t, 3, strings.Count(text, "Why:"))
	assert.Contains(t, text, squeeze("The work in our workshop stays due"))
}

// What a button says is what it settles: without a look due there is no
// "all is fine" to press.
func TestButtonsFitWhatIsDue(t *testing.T) {
	t.Parallel()
	in := grouped()
	in.Items = in.Items[1:]
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	_, parts := read(t, l.Raw)
	assert.NotContains(t, parts["text/plain"], "all is fine")
	assert.Contains(t, parts["text/plain"], "Call me to agree on a day:")
}

func TestReceiptSaysWhatWasUnderstood(t *testing.T) {
	t.Parallel()
	for kind, want := range map[loops.AnswerKind]string{
		loops.AllFine: "no measurement", loops.SomethingOff: "pull the plug", loops.CallMe: "no telephone number", loops.Pause: "the liquid ages",
	} {
		l, err := notify.ComposeReceipt(receipt(kind))
		require.NoError(t, err)
		checkLetter(t, l)
		_, parts := read(t, l.Raw)
		text := squeeze(parts["text/plain"])
		assert.Contains(t, text, squeeze(want))
		assert.Contains(t, text, squeeze("It gurgles since Sunday."))
		assert.NotContains(t, parts["text/html"], "<b>really")
		assert.Equal(t, kind == loops.SomethingOff, strings.Contains(parts["text/plain"], "Drops, wet spots or crusts."))
	}
	bad := receipt("whatever")
	bad.Machines = nil
	_, err := notify.ComposeReceipt(bad)
	assert.ErrorContains(t, err, "answer")
	assert.ErrorContains(t, err, "machines")
}

func TestMorningListGoesToTheWorkshop(t *testing.T) {
	t.Parallel()
	l, err := notify.ComposeMorning(morning())
	require.NoError(t, err)
	assert.Equal(t, "technician@tidewater.example", l.To)
	assert.Equal(t, "Tue 24 Nov 2026: Overdue 1, To call 1", l.Subject)
	assert.NotContains(t, string(l.Raw), "List-Unsubscribe")
	empty := morning()
	empty.Sections = nil
	l, err = notify.ComposeMorning(empty)
	require.NoError(t, err)
	assert.Contains(t, l.Subject, "nothing is due")
	empty.To = "a@b.example\r\nBcc: thief@thief.example"
	_, err = notify.ComposeMorning(empty)
	assert.Error(t, err)
}

func TestPrintedLetterHasNoLinks(t *testing.T) {
	t.Parallel()
	in := grouped()
	in.Owner.Email = ""
	p, err := notify.ComposePrinted(in)
	require.NoError(t, err)
	assert.True(t, strings.HasPrefix(p.Text, in.Owner.Name+"\n3 Quay Row\nHarbourtown\n\nTue 24 Nov 2026\n"), p.Text)
	assert.NotContains(t, p.Text, "https://")
	assert.NotContains(t, p.HTML, "href")
	assert.Contains(t, p.Text, "call us on +00 555 0142")
	golden := filepath.Join("testdata", "printed.txt")
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(p.Text), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	assert.Equal(t, string(want), p.Text)
}

// Nobody can answer a letter on paper by answering a mail.
func TestPaperSaysHowTheWorkshopIsReached(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct {
		name, phone, from, want string
	}{
		{"by telephone", "+00 555 0142", "bench@tidewater.example", "Leave it off and call us on +00 555 0142."},
		{"by mail", "", "bench@tidewater.example", "Leave it off and write to bench@tidewater.example."},
		{"in person", "", "", "Leave it off and come by our workshop."},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			for _, in := range []notify.ReminderInput{reminder(), several(), grouped()} {
				in.Workshop.Phone, in.Workshop.From = tt.phone, tt.from
				p, err := notify.ComposePrinted(in)
				require.NoError(t, err)
				for _, words := range []string{p.Text, p.HTML} {
					words = squeeze(strings.ReplaceAll(words, "&#43;", "+"))
					assert.Contains(t, words, squeeze(tt.want))
					assert.NotContains(t, words, squeeze("answer this mail"))
				}
			}
		})
	}
}
