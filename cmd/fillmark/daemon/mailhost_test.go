// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"encoding/base64"
	"image"
	"image/png"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
	"fillmark/notify"
	"fillmark/notify/links"
	"fillmark/notify/mailbox"
	"fillmark/testdata/peer"
)

// secretFile is a file that nobody else reads.
func secretFile(t *testing.T, content string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
	return path
}

// A mail that an owner sent is what they asked for, over a real IMAP server and
// with the configuration that a workshop writes; it is dealt with once, after a
// start again too.
func TestMailboxIsRead(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store = filepath.Join(folder, "register.db")
	c.Mail.IMAP.Address, c.Mail.IMAP.User, c.Mail.IMAP.CAFile, c.Mail.IMAP.PasswordFile = d.Implicit, "bench", d.CAFile, secretFile(t, "app password\n")
	require.Empty(t, c.Problems())
	require.NoError(t, c.CheckMailFiles())
	log := slog.New(slog.DiscardHandler)
	h, err := Open(c, testNow, log)
	require.NoError(t, err)
	owner, err := h.Workshop.AddOwner(workshop.Stamp{At: testNow(), By: "test"}, loops.Owner{Name: "Ana Ruizado", Email: "ana@garden.example", Consent: loops.Consent{Mail: true}})
	require.NoError(t, err)
	secrets, err := os.ReadFile(c.linkKeyFile())
	require.NoError(t, err)
	keys, err := links.New(secrets)
	require.NoError(t, err)
	token := keys.SignReply(links.Reply{Owner: owner.ID, Says: links.SaysStop}, testNow().AddDate(0, 0, 30))
	d.Comes(t, "1.M1.h", "From: someone@else.example\nSubject: Invoice\n\nPlease pay.\n")
	d.Comes(t, "2.M2.h", "From: mail-daemon@relay.example\nSubject: Undelivered\nContent-Type: multipart/report; report-type=delivery-status; boundary=b\n\n--b--\n")
	d.Comes(t, "3.M3.h", "From: ana@garden.example\nSubject: Re: Stop these mails [fm-"+token+"]\n\nThank you.\n")
	require.NoError(t, h.readMailbox(t.Context(), testNow(), log))
	stopped := func() bool {
		o, err := h.Store.Owner(owner.ID)
		require.NoError(t, err)
		return !o.MailStopped.IsZero()
	}
	assert.True(t, stopped())
	_, err = h.Workshop.SetMail(workshop.Stamp{At: testNow(), By: "owner"}, owner.ID, false)
	require.NoError(t, err)
	require.NoError(t, h.readMailbox(t.Context(), testNow(), log))
	require.NoError(t, h.Close())
	h, err = Open(c, testNow, log)
	require.NoError(t, err)
	require.NoError(t, h.readMailbox(t.Context(), testNow(), log))
	assert.False(t, stopped(), "an old mail stops nothing again")
	line := h.Examine(t.Context()).Line("mailbox")
	assert.Equal(t, doctor.Good, line.State, line)
	assert.Equal(t, "The mailbox INBOX at "+d.Implicit+" can be read.", line.Says)
	assert.Equal(t, line, h.Quick().Line("mailbox"), "a look that costs nothing says how it was read last")
	require.NoError(t, h.Close())

	c.Mail.IMAP.PasswordFile = secretFile(t, "wrong")
	h, err = Open(c, testNow, log)
	require.NoError(t, err)
	shut := func(after time.Duration) []loops.Alarm {
		return slices.DeleteFunc(h.Alarms.Red(testNow().Add(after)), func(a loops.Alarm) bool { return a.Name != "mailbox" })
	}
	assert.Equal(t, doctor.NotHere, h.Quick().Line("mailbox").State, "nobody looked yet")
	require.ErrorContains(t, h.readMailbox(t.Context(), testNow(), log), "login")
	for _, line := range []doctor.Line{h.Quick().Line("mailbox"), h.Examine(t.Context()).Line("mailbox")} {
		assert.Equal(t, doctor.Red, line.State, line)
		assert.Contains(t, line.Says, "login")
	}
	require.Error(t, h.readMailbox(t.Context(), testNow().Add(time.Hour), log))
	assert.Empty(t, shut(2*time.Hour-time.Second), "mail hosts have their hours of maintenance")
	red := shut(2 * time.Hour)
	require.Len(t, red, 1)
	assert.Contains(t, red[0].Reason, "INBOX at "+d.Implicit+" is not read since Sat 28 Nov 2026 12:00 UTC")
	assert.Contains(t, red[0].Reason, "login")
	assert.Contains(t, red[0].Remedy, "mail.imap")
	h.lead = &leader{} // another daemon does
	require.NoError(t, h.readMailbox(t.Context(), testNow().Add(2*time.Hour), log))
	assert.Equal(t, doctor.NotHere, h.Quick().Line("mailbox").State, "nobody looks here")
	assert.Empty(t, shut(2*time.Hour))
	h.lead = nil
	require.Error(t, h.readMailbox(t.Context(), testNow().Add(2*time.Hour), log))
	assert.NotEmpty(t, shut(4*time.Hour), "that told nothing good")
	h.reading.ended(testNow().Add(3*time.Hour), nil)
	assert.Empty(t, shut(4*time.Hour))
	require.NoError(t, h.Close())
}

// letterGone is a letter to Ana that the relay took, and the address that reports of
// it come to.
func letterGone(t *testing.T, c Config, h *Service, owner loops.OwnerID) (key loops.MessageKey, back string) {
	t.Helper()
	key = loops.NewMessageKey(owner, loops.DayOf(testNow(), time.UTC), loops.PurposeReminder, "")
	require.NoError(t, h.Store.Commit(loops.Change{At: testNow(), By: "test", Action: "remind", Messages: []loops.Message{{
		Key: key, Owner: owner, Purpose: loops.PurposeReminder, From: c.Mail.From, To: "ana@garden.example", Subject: "x", Raw: []byte("x"),
		Created: testNow(), NextAttempt: testNow(), Status: loops.Queued,
	}}}))
	require.NoError(t, h.Store.MarkDelivered(testNow(), 0, key))
	secrets, err := os.ReadFile(c.linkKeyFile())
	require.NoError(t, err)
	path, err := notify.NewReturnPath(c.Mail.BounceAddress, links.DerivedKey(secrets, "return path"))
	require.NoError(t, err)
	return key, path.For(key)
}

// A report of failed delivery and a photo come by IMAP as well: the letter is
// refused and its address given up, and the picture is kept with what was said.
func TestReportAndPhotoAreReadInTheMailbox(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	c := killedMailConfig(t, d)
	c.Mail.From, c.Mail.BounceAddress = "bench@workshop.test", "bounce@workshop.test"
	require.Empty(t, c.Problems())
	owner := answeringOwners(t, c, 1)[0]
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	key, back := letterGone(t, c, h, owner)
	d.Comes(t, "1.M1.h", "Return-Path: <>\nDelivered-To: "+back+`
From: MAILER-DAEMON@relay.example
Subject: Undelivered Mail Returned to Sender
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary=x

--x

Sorry.
--x
Content-Type: message/delivery-status

Reporting-MTA: dns; relay.example

Final-Recipient: rfc822; ana@garden.example
Action: failed
Status: 5.1.1
Diagnostic-Code: smtp; 550 5.1.1 no such user
--x--
`)
	var picture bytes.Buffer
	require.NoError(t, png.Encode(&picture, image.NewGray(image.Rect(0, 0, 20, 20))))
	token := linkKeys(t, c).SignReply(links.Reply{Owner: owner, Says: links.SaysOff}, testNow().AddDate(0, 0, 30))
	d.Comes(t, "2.M2.h", "From: ana@garden.example\nSubject: Something is off [fm-"+token+`]
MIME-Version: 1.0
Content-Type: multipart/mixed; boundary=y

--y
Content-Type: text/plain; charset=utf-8

Drops at the hose.
--y
Content-Type: image/png; name="p.png"
Content-Disposition: attachment
Content-Transfer-Encoding: base64

`+base64.StdEncoding.EncodeToString(picture.Bytes())+"\n--y--\n")
	require.NoError(t, h.readMailbox(t.Context(), testNow().Add(time.Hour), slog.New(slog.DiscardHandler)))

	m, err := h.Store.MessageHead(key)
	require.NoError(t, err)
	assert.Equal(t, loops.Refused, m.Status)
	assert.Equal(t, "came back: 5.1.1 smtp; 550 5.1.1 no such user", m.LastError)
	_, err = h.Store.Suppression("ana@garden.example")
	require.NoError(t, err, "nothing goes there any more")
	var said []loops.Answer
	for l, err := range h.Store.Loops() {
		require.NoError(t, err)
		file, err := h.Workshop.File(l.Tag)
		require.NoError(t, err)
		for _, e := range file.History {
			if e.Kind == loops.KindAnswer {
				said = append(said, *e.Answer)
			}
		}
	}
	require.Len(t, said, 1)
	assert.Equal(t, "Drops at the hose.", said[0].Words)
	require.NotEmpty(t, said[0].Photo)
	assert.True(t, c.photos().Has(said[0].Photo))
}

// sick is a register that cannot answer one question.
type sick struct {
	*store.Store
	fault error
}

func (s sick) RefusedInARow(string) (int, error) { return 0, s.fault }

// A report that cannot be taken in is passed over, and what is behind it read; where
// nothing can be written, or another daemon leads, it waits.
func TestReportThatCannotBeTakenInIsPassedOver(t *testing.T) {
	t.Parallel()
	c, h := house(t, func(c *Config) { c.Mail.BounceAddress = "bounce@workshop.test" })
	_, back := letterGone(t, c, h, 1)
	raw := []byte(strings.ReplaceAll("Return-Path: <>\nTo: "+back+"\nAuto-Submitted: auto-replied\nMIME-Version: 1.0\n"+
		"Content-Type: multipart/report; report-type=delivery-status; boundary=x\n\n--x\nContent-Type: message/delivery-status\n\n"+
		"Reporting-MTA: dns; relay.example\n\nFinal-Recipient: rfc822; ana@garden.example\nAction: failed\nStatus: 5.1.1\n--x--\n", "\n", "\r\n"))
	for uid, tt := range []struct {
		fault error
		waits bool
	}{{loops.ErrFull, true}, {loops.ErrOvertaken, true}, {loops.ErrDamaged, false}} {
		var log bytes.Buffer
		place := loops.MailPlace{Mailbox: "m", Validity: 1, UID: uint32(uid + 1)}
		r := &mailReader{h.Workshop.Through(sick{h.Store, tt.fault}), testNow(), slog.New(slog.NewTextHandler(&log, nil)), func() {}}
		err := r.Read(mailbox.Mail{Place: place, Raw: raw, Size: int64(len(raw))})
		last, lastErr := h.Store.LastMail("m")
		require.NoError(t, lastErr)
		if tt.waits {
			require.ErrorIs(t, err, tt.fault)
			assert.Zero(t, last.UID)
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, place, last)
		assert.Contains(t, log.String(), "stays for a person to read")
	}
}

// Our letter to ourselves that comes to the mailbox ends the wait for it, once its
// signature is whole; one that was changed on its way does not.
func TestLetterToOurselvesIsReadInTheMailbox(t *testing.T) {
	t.Parallel()
	d := peer.StartDovecot(t)
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store = filepath.Join(folder, "register.db")
	c.Mail.Transport, c.Mail.From, c.Mail.BounceAddress = "smtp", "bench@workshop.test", "bounce@workshop.test"
	c.Mail.IMAP.Address, c.Mail.IMAP.User, c.Mail.IMAP.CAFile, c.Mail.IMAP.PasswordFile = d.Implicit, "bench", d.CAFile, secretFile(t, "app password\n")
	require.Empty(t, c.Problems())
	require.NoError(t, c.Keys().First().Write())
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	sent, err := h.Workshop.MailCanary(workshop.Stamp{At: testNow(), By: "schedule"})
	require.NoError(t, err)
	require.True(t, sent)
	var raw []byte
	for m, err := range h.Store.Waiting() {
		require.NoError(t, err)
		whole, err := h.Store.Message(m.Key)
		require.NoError(t, err)
		raw = whole.Raw
	}
	key := c.Keys().First()
	signer, err := notify.LoadSigner(key.File, c.MailDomain(), key.Selector)
	require.NoError(t, err)
	raw, err = signer.Sign(raw)
	require.NoError(t, err)
	came := func() bool {
		require.NoError(t, h.readMailbox(t.Context(), testNow().Add(time.Hour), slog.New(slog.DiscardHandler)))
		state, set, err := h.Workshop.CanaryState()
		require.NoError(t, err)
		require.True(t, set)
		return !state.Arrived.IsZero()
	}
	d.Comes(t, "1.M1.h", strings.Replace(string(raw), "Nobody needs", "Somebody needs", 1))
	assert.False(t, came(), "changed on its way")
	d.Comes(t, "2.M2.h", string(raw))
	assert.True(t, came())
	assert.Contains(t, h.Quick().Line("bounces").Says, "looked for in the mailbox INBOX at "+d.Implicit)
}

// What the configuration of relay and mailbox names is read at the start, and a
// secret that others may read is refused.
func TestMailHostFiles(t *testing.T) {
	t.Parallel()
	open := secretFile(t, "secret")
	require.NoError(t, os.Chmod(open, 0o644))
	for name, tc := range map[string]struct {
		change func(*Config)
		says   []string
	}{
		"a password that others read": {func(c *Config) { c.Mail.IMAP.PasswordFile = open }, []string{"mail.imap.password_file", "0600 is right"}},
		"no password file":            {func(c *Config) { c.Mail.IMAP.PasswordFile += "-not" }, []string{"mail.imap.password_file"}},
		"no roots":                    {func(c *Config) { c.Mail.SMTP.CAFile = secretFile(t, "nothing") }, []string{"mail.smtp.ca_file", "certificates in PEM"}},
		"no file of roots":            {func(c *Config) { c.Mail.IMAP.CAFile = "/nowhere.pem" }, []string{"mail.imap.ca_file"}},
		"a client key that others read": {func(c *Config) { c.Mail.SMTP.ClientCert, c.Mail.SMTP.ClientKey = secretFile(t, "x"), open },
			[]string{"mail.smtp.client_key", "0600 is right"}},
		"no client certificate": {func(c *Config) {
			c.Mail.SMTP.ClientCert, c.Mail.SMTP.ClientKey = secretFile(t, "x"), secretFile(t, "y")
		}, []string{"mail.smtp.client_cert"}},
		"a refresh token that others read": {func(c *Config) {
			c.Mail.IMAP.Login, c.Mail.IMAP.PasswordFile = "oauth", ""
			c.Mail.OAuth.TokenURL, c.Mail.OAuth.ClientID, c.Mail.OAuth.RefreshTokenFile = "https://tokens.provider.example", "fillmark", open
		}, []string{"mail.oauth.refresh_token_file", "0600 is right"}},
		"tokens in the clear": {func(c *Config) {
			c.Mail.IMAP.Login, c.Mail.IMAP.PasswordFile = "oauth", ""
			c.Mail.OAuth.TokenURL, c.Mail.OAuth.ClientID, c.Mail.OAuth.RefreshTokenFile = "http://tokens.provider.example", "fillmark", secretFile(t, "r")
		}, []string{"token_url", "https"}},
	} {
		c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
		c.Mail.Transport = "smtp"
		c.Mail.IMAP.Address, c.Mail.IMAP.User, c.Mail.IMAP.PasswordFile = "imap.workshop.example:993", "bench", secretFile(t, "secret")
		require.NoError(t, c.CheckMailFiles())
		tc.change(&c)
		require.Empty(t, c.Problems(), name)
		err := c.CheckMailFiles()
		require.Error(t, err, name)
		for _, part := range tc.says {
			assert.Contains(t, err.Error(), part, name)
		}
	}
}

// Half a login is told by key.
func TestMailHostSettings(t *testing.T) {
	t.Parallel()
	for key, change := range map[string]func(*Config){
		"mail.smtp.login":               func(c *Config) { c.Mail.SMTP.Login = "kerberos" },
		"mail.smtp.user":                func(c *Config) { c.Mail.SMTP.Login = "oauth" },
		"mail.smtp.client_key":          func(c *Config) { c.Mail.SMTP.ClientCert = "x.pem" },
		"mail.imap.address":             func(c *Config) { c.Mail.IMAP.Address = "imap.workshop.example" },
		"mail.imap.user":                func(c *Config) { c.Mail.IMAP.Address = "imap.workshop.example:993" },
		"mail.imap.password_file":       func(c *Config) { c.Mail.IMAP.Address, c.Mail.IMAP.User = "imap.workshop.example:993", "bench" },
		"mail.imap.tls":                 func(c *Config) { c.Mail.IMAP.TLS = "none" },
		"mail.oauth.refresh_token_file": func(c *Config) { c.Mail.SMTP.Login, c.Mail.SMTP.User = "oauth", "bench" },
	} {
		c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
		require.Empty(t, c.Problems())
		change(&c)
		var all []string
		for _, p := range c.Problems() {
			all = append(all, p.Error())
		}
		assert.Contains(t, strings.Join(all, "\n"), key)
	}
}
