// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
	tokens "fillmark/notify/links"
	"fillmark/notify/words"
)

func TestReachable(t *testing.T) {
	t.Parallel()
	for base, want := range map[string]bool{
		"https://loops.workshop.example": true, "http://203.0.113.7:8377": true, "https://[2001:db8::7]": true,
		"": false, "http://127.0.0.1:8377": false, "http://[::1]:8377": false, "http://localhost:8377": false, "http://localhost.:8377": false, "http://a.localhost": false,
		"http://192.168.1.20": false, "http://10.0.0.4": false, "http://172.20.1.1": false, "http://169.254.3.4": false, "http://100.64.9.9": false,
		"http://[fe80::1]": false, "http://[fd12::1]": false, "http://0.0.0.0": false, "http://[::ffff:192.168.1.2]": false,
		"http://bench": false, "http://bench.local": false, "http://bench.lan": false, "https://bench.home.arpa": false, "https://home.arpa": false, "https://loops-home.arpa": true, "http://bench.internal": false, "http://bench.fritz.internal": false,
		"bench.workshop.example": false,
	} {
		assert.Equal(t, want, notify.Reachable(base), base)
	}
}

// What a button opens is a mail to us alone, whose subject holds the token
// however a mail program has led it.
func TestMailtoCarriesItsToken(t *testing.T) {
	t.Parallel()
	w := workshop()
	token := strings.Repeat("ab3d", 8)
	for _, says := range []tokens.Saying{tokens.SaysFine, tokens.SaysOff, tokens.SaysCall, tokens.SaysPause, tokens.SaysStop, tokens.SaysLater, tokens.SaysMoved, tokens.SaysSold, tokens.SaysDone} {
		link := w.Mailto(words.In(""), says, token)
		u, err := url.Parse(link)
		require.NoError(t, err)
		assert.Equal(t, "mailto", u.Scheme)
		assert.Equal(t, "bench@tidewater.example", u.Opaque)
		assert.NotContains(t, link, "+", "a plus is a plus in such an address")
		subject := u.Query().Get("subject")
		for _, led := range []string{subject, "Re: " + subject, "AW: Fwd: " + strings.ToUpper(subject), subject + " (late)"} {
			assert.Equal(t, token, notify.TokenIn(led), led)
		}
		assert.NotEmpty(t, u.Query().Get("body"))
	}
	assert.Empty(t, w.Mailto(words.In(""), tokens.SaysFine, ""))
	for _, subject := range []string{"", "fm-", "xfm-" + token, "fm-" + token[:10], "I looked, all is fine"} {
		assert.Empty(t, notify.TokenIn(subject), subject)
	}
}

// A letter takes no mail to anybody else, and none with a copy.
func TestLettersTakeMailToUsAlone(t *testing.T) {
	t.Parallel()
	for _, link := range []string{
		"mailto:other@tidewater.example?subject=x", "mailto:bench@tidewater.example?subject=x&cc=other@garden.example", "mailto:bench@tidewater.example,other@garden.example",
		"mailto:bench@tidewater.example?subject=\"><b>",
	} {
		in := reminder()
		in.Links.Stop = link
		_, err := notify.ComposeReminder(in)
		require.ErrorContains(t, err, "link stop", link)
	}
}

// Where answers go by mail the letter says how, and unsubscribing is a mail too.
func TestReminderAnsweredByMail(t *testing.T) {
	t.Parallel()
	in := reminder()
	in.Workshop.BaseURL, in.Calendar = "", nil
	mail := func(s tokens.Saying) string { return in.Workshop.Mailto(words.In(""), s, strings.Repeat("ab3d", 8)) }
	in.Links = notify.Links{AllFine: mail(tokens.SaysFine), SomethingOff: mail(tokens.SaysOff), CallMe: mail(tokens.SaysCall), Pause: mail(tokens.SaysPause), Stop: mail(tokens.SaysStop), OneClick: mail(tokens.SaysStop)}
	l, err := notify.ComposeReminder(in)
	require.NoError(t, err)
	checkLetter(t, l)
	head, parts := read(t, l.Raw)
	assert.Equal(t, "<"+in.Links.Stop+">", head.Get("List-Unsubscribe"))
	assert.Empty(t, head.Get("List-Unsubscribe-Post"), "that is for https alone (RFC 8058)")
	for kind, body := range parts {
		assert.Contains(t, squeezed(body), "send it with its subject as it is", kind)
		assert.Contains(t, body, "Stop reminding me of what is due now", kind)
		assert.NotContains(t, body, "http", kind)
	}
}

func squeezed(text string) string { return strings.Join(strings.Fields(text), " ") }
