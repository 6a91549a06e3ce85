// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"fillmark/loops"
	"fillmark/notify"
)

func returnPath(t testing.TB) *notify.ReturnPath {
	t.Helper()
	r, err := notify.NewReturnPath("bounce@tidewater.example", bytes.Repeat([]byte{7}, 32))
	require.NoError(t, err)
	return r
}

func TestReturnPathOpensItsOwnAndNoOther(t *testing.T) {
	t.Parallel()
	r := returnPath(t)
	other, err := notify.NewReturnPath("bounce@tidewater.example", bytes.Repeat([]byte{8}, 32))
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		key := loops.MessageKey(rapid.String().Draw(t, "key"))
		address := r.For(key)
		require.NoError(t, loops.CheckEmail("address", address))
		hash, ok := r.Open(strings.ToUpper(address))
		require.True(t, ok)
		require.Equal(t, notify.MessageHash(key), hash)
		_, ok = other.Open(address)
		require.False(t, ok)
		at := rapid.IntRange(0, len(address)-1).Draw(t, "at")
		changed := []byte(address)
		changed[at] = "abc234"[rapid.IntRange(0, 5).Draw(t, "to")]
		if string(changed) != address {
			_, ok = r.Open(string(changed))
			require.False(t, ok)
		}
	})
}

func TestReturnPathRefuses(t *testing.T) {
	t.Parallel()
	key := bytes.Repeat([]byte{7}, 32)
	for _, address := range []string{"", "bounce", "b+c@w.example", strings.Repeat("b", 40) + "@w.example", "b@w.example\r\nRCPT"} {
		_, err := notify.NewReturnPath(address, key)
		assert.Error(t, err, address)
	}
	_, err := notify.NewReturnPath("b@w.example", key[:8])
	assert.ErrorContains(t, err, "at least 32 bytes")
}

const report = "Return-Path: <>\r\nDelivered-To: TO\r\nFrom: MAILER-DAEMON@relay.example\r\nSubject: Undelivered\r\nAuto-Submitted: auto-replied\r\n" +
	"MIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=\"x\"\r\n\r\n--x\r\n\r\nSorry.\r\n--x\r\n" +
	"Content-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; relay.example\r\n\r\nFinal-Recipient: rfc822; anna@garden.example\r\n" +
	"Action: ACTION\r\nStatus: STATUS\r\nDiagnostic-Code: smtp; 550 no such\r\n user here\r\n--x--\r\n"

func TestReadBounce(t *testing.T) {
	t.Parallel()
	r := returnPath(t)
	fill := func(action, status string) string {
		return strings.NewReplacer("TO", r.For("7/2026-11-24/reminder"), "ACTION", action, "STATUS", status).Replace(report)
	}
	b, err := notify.ReadBounce(strings.NewReader(fill("failed", "5.1.1 (bad mailbox)")))
	require.NoError(t, err)
	failed, ok := b.Failed()
	require.True(t, ok)
	assert.Equal(t, notify.BounceRecipient{Action: "failed", Status: "5.1.1", Diagnostic: "smtp; 550 no such user here"}, failed)
	hash, ok := r.Open(b.To[0])
	require.True(t, ok)
	assert.Equal(t, notify.MessageHash("7/2026-11-24/reminder"), hash)

	b, err = notify.ReadBounce(strings.NewReader(fill("failed", "4.4.7"))) // the relay tried for days and gives up
	require.NoError(t, err)
	failed, ok = b.Failed()
	assert.True(t, ok, "failed is final whatever its status (RFC 3464 2.3.3)")
	assert.False(t, notify.Suppresses(failed.Status, 1))

	for _, quiet := range [][2]string{{"delayed", "4.4.1"}, {"delivered", "2.0.0"}} {
		b, err := notify.ReadBounce(strings.NewReader(fill(quiet[0], quiet[1])))
		require.NoError(t, err)
		_, ok := b.Failed()
		assert.False(t, ok, quiet)
	}
	for name, mail := range map[string]string{
		"empty": "", "a person": "From: a@b.example\r\nSubject: hello\r\n\r\nHello\r\n",
		"out of office":  "From: a@b.example\r\nAuto-Submitted: auto-replied\r\nSubject: away\r\n\r\nAway\r\n",
		"a read receipt": strings.Replace(fill("failed", "5.1.1"), "delivery-status;", "disposition-notification;", 1),
	} {
		_, err := notify.ReadBounce(strings.NewReader(mail))
		assert.ErrorIs(t, err, notify.ErrNotBounce, name)
	}
}

func FuzzReadBounce(f *testing.F) {
	f.Add([]byte(report))
	f.Add([]byte("Content-Type: multipart/report; report-type=delivery-status; boundary=x\r\n\r\n--x\r\nContent-Type: message/delivery-status\r\n\r\nAction: failed"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		b, err := notify.ReadBounce(bytes.NewReader(raw))
		if err != nil {
			return
		}
		for _, r := range b.Recipients {
			for _, c := range r.Diagnostic {
				require.False(t, c < 0x20 || c == 0x7f, "%q", r.Diagnostic)
			}
		}
	})
}
