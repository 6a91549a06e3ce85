// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"net/mail"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
)

// No address puts a second recipient, another header or a parameter of SMTP
// into a letter or its envelope.
func FuzzAddress(f *testing.F) {
	for _, seed := range []string{"anna@garden.example", "a@b.example\r\nBcc: c@d.example", "a@b> RET=FULL", "\"a b\"@c.example", "a@b.example,c@d.example",
		"anna@gärten.example", "Ann <a@b.example>", "a@[127.0.0.1]", "a@b..example", "a\x00@b.example", "=?utf-8?q?x?=@b.example", "@", ""} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, address string) {
		in := reminder()
		in.Owner.Email = address
		l, err := notify.ComposeReminder(in)
		if err != nil {
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			return
		}
		checkLetter(t, l)
		require.False(t, strings.ContainsAny(l.To, " <>,;:\"\r\n"), "%q", l.To)
		list, err := mail.ParseAddressList(l.To)
		require.NoError(t, err)
		require.Len(t, list, 1)
		// The local part is as given; only the domain may change to its ASCII form.
		require.Equal(t, address[:strings.LastIndexByte(address, '@')], l.To[:strings.LastIndexByte(l.To, '@')])
	})
}

// What an owner types is text in the receipt, never a template, markup or a
// header.
func FuzzReceiptWords(f *testing.F) {
	for _, seed := range []string{"It gurgles.", "{{.Stop.URL}}", "{{template \"x\"}}", "<img src=x onerror=y>", "a\r\nBcc: b@c.example", ".\n.\n", "\n\n\n", "--=_x--", "𝄞\u2028"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, words string) {
		in := receipt(loops.SomethingOff)
		in.Answer.Words = words
		l, err := notify.ComposeReceipt(in)
		if err != nil {
			var invalid *loops.InvalidError
			require.ErrorAs(t, err, &invalid)
			return
		}
		checkLetter(t, l)
		plain, err := notify.ComposeReceipt(receipt(loops.SomethingOff))
		require.NoError(t, err)
		_, parts := read(t, l.Raw)
		_, usual := read(t, plain.Raw)
		// As much markup as any receipt has, but for the paragraphs of the words.
		for _, tag := range []string{"<img", "<script", "<a ", "<h2", "<div", "<style"} {
			if !strings.Contains(usual["text/html"], tag) || len(strings.Fields(words)) > 0 {
				require.Equal(t, strings.Count(usual["text/html"], tag), strings.Count(parts["text/html"], tag), tag)
			}
		}
		for word := range strings.FieldsSeq(words) {
			if len(word) < 60 {
				require.Contains(t, squeeze(parts["text/plain"]), word)
			}
		}
	})
}
