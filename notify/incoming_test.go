// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/words"
)

// What a writer wrote themselves is told from what they quoted, signed and were
// given, in plain text and in HTML alike.
func TestOwnWords(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct{ kind, body, words string }{
		"nothing but what was ready": {"text/plain", "I looked, and all is fine.\r\n", ""},
		"signed":                     {"text/plain", "It hums.\r\n-- \r\nAna\r\n3 Quay Row", "It hums."},
		"quoted":                     {"text/plain", "It hums.\r\n\r\nOn Monday the bench wrote:\r\n> Good day\r\n> more\r\n", "It hums."},
		"answered below":             {"text/plain", "On Monday the bench wrote:\r\n> Good day\r\n\r\nIt hums.", "It hums."},
		"ready and more":             {"text/plain", "This is what I see, hear or feel:\r\nIt hums.", "It hums."},
		"HTML":                       {"text/html", "<html><head><title>t</title><style>p{}</style></head><body><p>It &lt;hums&gt;.</p><div>Loud<br>too</div><blockquote>Good day</blockquote></body></html>", "It <hums>.\nLoud\ntoo"},
		"what turns the line":        {"text/plain", "a\u202eb \x07c", "a<U+202E>b <U+0007>c"},
		"no charset that is known":   {"text/plain; charset=x-none", "It hums.", "It hums."},
		"no UTF-8":                   {"text/plain; charset=utf-8", "It h\xffums.", "It h\uFFFDums."},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			in, err := notify.ReadIncoming([]byte("From: ana@garden.example\r\nSubject: x\r\nContent-Type: " + tc.kind + "\r\n\r\n" + tc.body))
			require.NoError(t, err)
			assert.Equal(t, tc.words, in.Words)
		})
	}
	for _, l := range loops.Languages() {
		for _, says := range []string{"fine", "off", "call", "pause", "stop"} {
			ready := words.In(l).Say("reply." + says + ".body")
			for _, sent := range []string{ready, strings.ReplaceAll(ready, "\u202f", " ")} { // as a mail program may write it
				for own, body := range map[string]string{"": sent, "It hums.": sent + "\r\nIt hums.", "It hums": sent + " It hums"} {
					in, err := notify.ReadIncoming([]byte("Subject: x\r\nContent-Type: text/plain; charset=utf-8\r\n\r\n" + body))
					require.NoError(t, err)
					assert.Equal(t, own, in.Words, "%s: %s", l, sent)
				}
			}
		}
	}
	long, err := notify.ReadIncoming([]byte("Subject: x\r\n\r\n" + strings.Repeat("ä ", 50_000)))
	require.NoError(t, err)
	assert.LessOrEqual(t, len(long.Words), 2000, "no more than the record takes")
	assert.True(t, utf8.ValidString(long.Words))
}

// Mail that would cost more than any answer does is none that is read.
func TestIncomingIsBounded(t *testing.T) {
	t.Parallel()
	nested := "x"
	for n := range 12 {
		nested = fmt.Sprintf("Content-Type: multipart/mixed; boundary=b%d\r\n\r\n--b%d\r\n%s\r\n--b%d--\r\n", n, n, nested, n)
	}
	many := "Content-Type: multipart/mixed; boundary=b\r\n\r\n" + strings.Repeat("--b\r\nContent-Type: text/plain\r\n\r\nx\r\n", 200) + "--b--\r\n"
	for name, raw := range map[string]string{
		"in each other": nested, "parts": many, "no header": "\x00\x01", "size": "Subject: x\r\n\r\n" + strings.Repeat("a", notify.MaxIncoming),
		"cut short": "Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\nContent-Type: image/jpeg\r\nContent-Transfer-Encoding: base64\r\n\r\n!!!!",
	} {
		_, err := notify.ReadIncoming([]byte(raw))
		require.ErrorIs(t, err, notify.ErrNoMail, name)
	}
	in, err := notify.ReadIncomingHead(strings.NewReader("Subject: =?utf-8?q?fm-" + strings.Repeat("ab", 16) + "_fine?=\r\nFrom: Two <a@b.example>, <c@d.example>\r\nIn-Reply-To: <1@x.example>\r\n"))
	require.NoError(t, err)
	assert.Equal(t, strings.Repeat("ab", 16), in.Token)
	assert.Empty(t, in.From, "of two senders nobody knows which wrote it")
	assert.Equal(t, []string{"<1@x.example>"}, in.Answers)
}

// Whatever comes, reading it ends, and what is kept fits the record.
func FuzzReadIncoming(f *testing.F) {
	f.Add([]byte("Subject: fm-abc\r\nContent-Type: text/html\r\n\r\n<blockquote><p>x"))
	f.Add([]byte("Content-Type: multipart/mixed; boundary=b\r\n\r\n--b\r\n\r\nx\r\n--b--\r\n"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		in, err := notify.ReadIncoming(raw)
		if err != nil {
			require.ErrorIs(t, err, notify.ErrNoMail)
			return
		}
		require.LessOrEqual(t, len(in.Words), 2000)
		require.True(t, utf8.ValidString(in.Words))
		require.NotContains(t, in.Words, "\x1b")
	})
}
