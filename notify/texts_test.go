// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"context"
	"encoding/base64"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
)

func TestTextsOfAMail(t *testing.T) {
	t.Parallel()
	hidden := base64.StdEncoding.EncodeToString([]byte("Ana Fern's chiller ticks"))
	inner := "Subject: =?utf-8?q?The_inner_one?=\r\nContent-Type: text/html\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n<p>Bo O&#39;Li=\r\nnd</p>"
	raw := strings.Join([]string{
		"From: a@b.example", "Subject: =?utf-8?b?" + base64.StdEncoding.EncodeToString([]byte("Für Ana")) + "?=",
		"Content-Type: multipart/mixed; boundary=x", "", "--x", "Content-Type: text/plain", "Content-Transfer-Encoding: base64", "", hidden,
		"--x", "Content-Type: message/rfc822", "", inner, "--x", "Content-Type: application/octet-stream", "Content-Transfer-Encoding: base64", "", "!!!", "--x--",
	}, "\r\n")
	all := strings.Join(notify.Texts([]byte(raw)), "\n")
	for _, text := range []string{"Für Ana", "Ana Fern's chiller ticks", "The inner one", "Bo O'Lind", "a@b.example"} {
		assert.Contains(t, all, text)
	}
	assert.Equal(t, []string{"no mail at all"}, notify.Texts([]byte("no mail at all")))
}

func FuzzTexts(f *testing.F) {
	f.Add([]byte("Content-Type: multipart/mixed; boundary=x\r\n\r\n--x\r\nContent-Type: message/rfc822\r\n\r\nA: b\r\n\r\nc\r\n--x--"))
	f.Add([]byte("Content-Type: multipart/mixed\r\n\r\n--\r\n"))
	f.Fuzz(func(_ *testing.T, raw []byte) { notify.Texts(raw) })
}

func TestMaildirRemoves(t *testing.T) {
	t.Parallel()
	m := notify.Maildir{Dir: t.TempDir()}
	none, err := notify.Maildir{Dir: m.Dir + "/none"}.Remove(map[string]bool{"": true})
	require.NoError(t, err)
	assert.Zero(t, none)
	for _, id := range []string{"<a@x.example>", "<b@x.example>"} {
		raw := []byte("Date: Thu, 03 Dec 2026 12:00:00 +0000\r\nMessage-ID: " + id + "\r\n\r\nwords\r\n")
		require.NoError(t, m.Send(context.Background(), notify.Envelope{}, raw))
	}
	removed, err := m.Remove(map[string]bool{"<b@x.example>": true, "<c@x.example>": true})
	require.NoError(t, err)
	assert.Equal(t, 1, removed)
	var left []string
	require.NoError(t, m.Each(func(_ string, raw []byte) error {
		left = append(left, string(raw))
		return nil
	}))
	require.Len(t, left, 1)
	assert.Contains(t, left[0], "<a@x.example>")
}
