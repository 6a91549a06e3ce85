// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package mailbox_test

import (
	"crypto/tls"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/notify/login"
	"fillmark/notify/mailbox"
	"fillmark/testdata/peer"
)

func open(t *testing.T, d peer.Dovecot, change func(*mailbox.Options)) *mailbox.Mailbox {
	t.Helper()
	o := mailbox.Options{Address: d.Implicit, Security: notify.ImplicitTLS, Username: "bench", Password: "app password", TLS: &tls.Config{RootCAs: d.Roots}, Timeout: time.Minute}
	if change != nil {
		change(&o)
	}
	m, err := mailbox.New(o)
	require.NoError(t, err)
	return m
}

// reader keeps what it is given and remembers the place, as the register does.
type reader struct {
	last  loops.MailPlace
	read  []string
	seen  int
	fails int // on how many mails still
}

func (r *reader) Wanted(head []byte) bool {
	r.seen++
	return strings.Contains(string(head), "Subject: fm-")
}

func (r *reader) Read(m mailbox.Mail) error {
	if r.fails > 0 {
		r.fails--
		return fmt.Errorf("not now")
	}
	_, body, _ := strings.Cut(string(m.Raw), "\r\n\r\n")
	r.read, r.last = append(r.read, strings.TrimSpace(body)), m.Place
	return nil
}

func (r *reader) Passed(place loops.MailPlace) error { r.last = place; return nil }

var beginning = time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)

// Each mail is given once, oldest first and whole; what is not wanted is not
// fetched; a failure is met again; and nothing in the mailbox is changed.
func TestDovecotGivesEachMailOnce(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	for _, address := range []struct {
		at  string
		how notify.Security
	}{{d.Implicit, notify.ImplicitTLS}, {d.StartTLS, notify.StartTLS}} {
		require.NoError(t, open(t, d, func(o *mailbox.Options) { o.Address, o.Security = address.at, address.how }).Check(t.Context()))
	}
	m := open(t, d, nil)
	r := &reader{}
	poll := func() error { return m.Read(t.Context(), r.last, beginning, r) }
	require.NoError(t, poll(), "an empty mailbox")
	for n := range 120 {
		subject := "Invoice"
		if n%2 == 0 {
			subject = "fm-x"
		}
		d.Comes(t, fmt.Sprintf("1700000%03d.M%d.h", n, n), fmt.Sprintf("From: a@b.example\nSubject: %s\n\nnumber %d\n", subject, n))
	}
	r.fails = 1
	require.ErrorContains(t, poll(), "not now")
	assert.Empty(t, r.read)
	require.NoError(t, poll())
	require.Len(t, r.read, 60)
	assert.Equal(t, "number 0", r.read[0])
	assert.Equal(t, "number 118", r.read[59])
	seen := r.seen
	require.NoError(t, poll())
	assert.Equal(t, seen, r.seen, "what was passed is not looked at again")
	d.Comes(t, "1700001000.M1.h", "From: a@b.example\nSubject: fm-late\n\nlate\n")
	require.NoError(t, poll())
	assert.Equal(t, "late", r.read[60])
	assert.Len(t, r.read, 61)
	flagged, err := filepath.Glob(filepath.Join(d.Dir, "mail/cur/*S*"))
	require.NoError(t, err)
	assert.Empty(t, flagged, "nobody has read it, for the people who do")

	// The mailbox numbers everything again: all of it is given again, under other
	// numbers, and the register knows it by what it says.
	was := r.last
	d.Renumber()
	require.NoError(t, poll())
	assert.NotEqual(t, was.Validity, r.last.Validity)
	assert.Len(t, r.read, 122)
}

// A wrong password, an unknown certificate and a name that is not the host's are
// refused, each in words.
func TestDovecotRefuses(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	for name, change := range map[string]func(*mailbox.Options){
		"login":       func(o *mailbox.Options) { o.Password = "wrong" },
		"certificate": func(o *mailbox.Options) { o.TLS = nil },
		"other":       func(o *mailbox.Options) { o.TLS = &tls.Config{RootCAs: d.Roots, ServerName: "other.provider.example"} },
		"Mailbox":     func(o *mailbox.Options) { o.Folder = "Nowhere" },
	} {
		err := open(t, d, change).Check(t.Context())
		require.ErrorContains(t, err, name)
		assert.NotContains(t, err.Error(), "app password")
	}
}

// Dovecot takes a token that a real token server handed out, and a token that it
// does not take is asked for again.
func TestDovecotTakesTokens(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	asked := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		asked++
		who := "bench"
		if asked == 1 {
			who = "somebody else"
		}
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(map[string]any{"access_token": peer.JWT(t, map[string]any{"sub": who, "iat": 978307200, "exp": 4070908800}), "token_type": "Bearer", "expires_in": 3600})
	}))
	defer server.Close()
	refresh := filepath.Join(t.TempDir(), "refresh")
	require.NoError(t, os.WriteFile(refresh, []byte("r"), 0o600))
	tokens, err := login.New(login.Options{TokenURL: server.URL, ClientID: "fillmark", RefreshFile: refresh})
	require.NoError(t, err)
	m := open(t, d, func(o *mailbox.Options) { o.Password, o.Tokens = "", tokens })
	require.ErrorContains(t, m.Check(t.Context()), "login", "a token of somebody else's")
	require.NoError(t, m.Check(t.Context()))
	require.NoError(t, m.Check(t.Context()))
	assert.Equal(t, 2, asked)
}
