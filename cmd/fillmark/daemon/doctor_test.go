// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"log/slog"
	"maps"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/dns/dnsmessage"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/web"
	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/loops/store"
)

// dnsServer answers questions for TXT records as it is told, by UDP as a
// resolver does. A name that it has none for does not exist.
func dnsServer(t *testing.T, texts map[string]string) (address string) {
	t.Helper()
	texts = maps.Clone(texts) // the test goes on changing its own
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = conn.Close() })
	go func() {
		question := make([]byte, 1500)
		for {
			n, from, err := conn.ReadFrom(question)
			if err != nil {
				return // closed
			}
			if answer, err := dnsAnswer(question[:n], texts); err == nil {
				_, _ = conn.WriteTo(answer, from) // whoever asked asks again
			}
		}
	}()
	return conn.LocalAddr().String()
}

// dnsAnswer is the answer to one question (RFC 1035, section 4).
func dnsAnswer(question []byte, texts map[string]string) ([]byte, error) {
	var p dnsmessage.Parser
	head, err := p.Start(question)
	if err != nil {
		return nil, err
	}
	q, err := p.Question()
	if err != nil {
		return nil, err
	}
	text, there := texts[strings.ToLower(strings.TrimSuffix(q.Name.String(), "."))]
	head = dnsmessage.Header{ID: head.ID, Response: true, RecursionAvailable: true}
	if !there {
		head.RCode = dnsmessage.RCodeNameError
	}
	b := dnsmessage.NewBuilder(nil, head)
	if err := errors.Join(b.StartQuestions(), b.Question(q), b.StartAnswers()); err != nil {
		return nil, err
	}
	if there && q.Type == dnsmessage.TypeTXT {
		var parts []string
		for len(text) > 255 { // a string of a record has 255 bytes at most
			parts, text = append(parts, text[:255]), text[255:]
		}
		err := b.TXTResource(dnsmessage.ResourceHeader{Name: q.Name, Class: dnsmessage.ClassINET, TTL: 60}, dnsmessage.TXTResource{TXT: append(parts, text)})
		if err != nil {
			return nil, err
		}
	}
	return b.Finish()
}

// relayed is a house whose mail goes out by a relay.
func relayed(c *Config) {
	c.Mail.Transport, c.Mail.From, c.BaseURL = "smtp", "bench@cooling-home.arpa", "https://loops.cooling-home.arpa"
}

// TestDoctorAsksTheDNS holds the records against a DNS server of this computer's.
func TestDoctorAsksTheDNS(t *testing.T) {
	t.Parallel()
	c, h := house(t, relayed)
	h.serving.Store(true)
	require.NoError(t, c.Keys().First().Write())
	records, err := c.MailRecords()
	require.NoError(t, err)
	require.Len(t, records, 3)
	lines := func(texts map[string]string) doctor.Report {
		h.keeper.config.Mail.Resolver = dnsServer(t, texts)
		return h.Examine(t.Context())
	}
	published := map[string]string{}
	for _, r := range records {
		published[r.Name] = r.Value
	}
	whole := lines(published)
	for _, name := range []string{"resolver", "DKIM", "SPF", "DMARC", "sender", "links"} {
		assert.Equal(t, doctor.Good, whole.Line(name).State, whole.Line(name))
	}
	for _, r := range records {
		without := map[string]string{}
		for name, value := range published {
			if name != r.Name {
				without[name] = value
			}
		}
		report := lines(without)
		assert.Equal(t, doctor.Red, report.Line(string(r.Kind)).State, r.Kind)
		assert.Contains(t, report.Line(string(r.Kind)).Says, r.Name+" is not published")
		assert.Equal(t, doctor.Good, report.Line("resolver").State)
	}
	published[records[0].Name] = "v=DKIM1; k=rsa; p=MIIB"
	assert.Contains(t, lines(published).Line("DKIM").Says, "p=MIIB")

	// Nobody answers at all.
	silent, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, silent.Close())
	h.keeper.config.Mail.Resolver = silent.LocalAddr().String()
	report := h.Examine(t.Context())
	assert.Equal(t, doctor.Red, report.Line("resolver").State)
	for _, name := range []string{"DKIM", "SPF", "DMARC"} {
		assert.Equal(t, []string{"resolver"}, report.Line(name).From, name)
	}
	require.NoError(t, os.Remove(c.Keys().First().File))
	assert.Contains(t, h.Examine(t.Context()).Line("DKIM").Says, "no key")
}

// What only the DNS tells is looked at once a day, and somebody is told: by the ways
// that are not mail and on the pages of the day; once put right, within the hour.
func TestARecordThatIsGoneIsTold(t *testing.T) {
	t.Parallel()
	c, h := house(t, relayed, func(c *Config) { c.Backup.Folder = "" })
	h.serving.Store(true)
	now := testNow()
	h.now = func() time.Time { return now }
	require.NoError(t, c.Keys().First().Write())
	records, err := c.MailRecords()
	require.NoError(t, err)
	published := map[string]string{}
	for _, r := range records {
		published[r.Name] = r.Value
	}
	told := func(after time.Duration) string {
		now = now.Add(after)
		h.pulse.Swept(now, 0, nil)
		h.examineDaily(t.Context(), now)
		var says strings.Builder
		for _, a := range h.Alarms.Red(now) {
			says.WriteString(a.Name + ": " + a.Reason + a.Remedy)
		}
		return says.String()
	}
	h.keeper.config.Mail.Resolver = dnsServer(t, published)
	assert.Empty(t, told(0))
	value := published[records[0].Name]
	delete(published, records[0].Name)
	h.keeper.config.Mail.Resolver = dnsServer(t, published)
	assert.Empty(t, told(23*time.Hour), "once a day is enough")
	says := told(time.Hour)
	assert.True(t, strings.HasPrefix(says, "house: "), says)
	assert.Contains(t, says, records[0].Name+" is not published")
	assert.Contains(t, says, "Seen on Sun 29 Nov 2026 12:00 UTC.")
	assert.Contains(t, says, "fillmark dkim records")
	asked := func(path string) string {
		answer, r := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "http://127.0.0.1:8377"+path, nil)
		r.RemoteAddr = "127.0.0.1:9"
		h.Handler.ServeHTTP(answer, r.WithContext(web.WithActor(r.Context(), "local:test")))
		return answer.Body.String()
	}
	assert.Contains(t, asked("/metrics"), "fillmark_alarm{part=\"house\"} 1\n")
	assert.Contains(t, asked("/api/v1/due"), "is not published")
	assert.Equal(t, "ready\n", asked("/readyz"), "the house does its work all the same")
	published[records[0].Name] = value
	h.keeper.config.Mail.Resolver = dnsServer(t, published)
	assert.Contains(t, told(59*time.Minute), "is not published")
	assert.Empty(t, told(time.Minute))
	assert.Contains(t, asked("/metrics"), "fillmark_alarm{part=\"house\"} 0\n")
}

// What is wrong on the disk and in the register turns its line red, and right
// again good.
func TestDoctorLooksAtTheRealThing(t *testing.T) {
	t.Parallel()
	c, h := house(t)
	now := testNow()
	h.now = func() time.Time { return now }
	h.serving.Store(true)
	state := func(name string) doctor.Line { return h.Examine(t.Context()).Line(name) }
	good := func(name string) {
		t.Helper()
		assert.Equal(t, doctor.Good, state(name).State, state(name))
	}
	wrong := func(name, says string) {
		t.Helper()
		line := state(name)
		assert.Equal(t, doctor.Red, line.State, line)
		assert.Contains(t, line.Says, says)
	}
	_, err := h.keeper.Scheduled(t.Context(), "schedule", now)
	require.NoError(t, err)
	h.pulse.Swept(now, 0, nil)
	whole := h.Examine(t.Context())
	assert.True(t, whole.OK, whole.Lines)

	// The clock, against what was recorded.
	now = testNow().Add(-10 * time.Minute)
	wrong("clock", "the clock went back")
	now = testNow()
	good("clock")

	// The file, removed and replaced.
	require.NoError(t, os.Rename(c.Store, c.Store+".away"))
	wrong("register file", "removed or replaced")
	fresh, err := store.Open(c.Store, store.Options{})
	require.NoError(t, err)
	require.NoError(t, fresh.Close())
	wrong("register file", "another file")
	require.NoError(t, os.Rename(c.Store+".away", c.Store))
	good("register file")

	// Rights.
	for path, mode := range map[string]os.FileMode{c.Store: 0o644, c.linkKeyFile(): 0o604, filepath.Dir(c.Store): 0o777} {
		was, err := os.Stat(path)
		require.NoError(t, err)
		good("permissions")
		require.NoError(t, os.Chmod(path, mode))
		wrong("permissions", filepath.Base(path))
		require.NoError(t, os.Chmod(path, was.Mode().Perm()))
	}

	// Sweeps.
	h.pulse.Swept(now, 0, errors.New("the disk is full"))
	now = now.Add(3 * time.Hour)
	wrong("sweep", "the disk is full")
	h.pulse.Swept(now, 0, nil)
	good("sweep")

	// Backups: late, then failed, then made.
	now = testNow().AddDate(0, 0, 2)
	wrong("backup", "was due Sun 29 Nov 2026 02:30")
	h.keeper.config.Backup.Folder = c.Store // a file
	_, err = h.keeper.Scheduled(t.Context(), "schedule", now)
	require.Error(t, err)
	wrong("backup", "not a directory")
	h.keeper.config.Backup.Folder = c.Backup.Folder
	_, err = h.keeper.Scheduled(t.Context(), "schedule", now)
	require.NoError(t, err)
	good("backup")
	good("restore drill")
	h.keeper.config.Backup.SecondFolder = filepath.Join(t.TempDir(), "usb")
	wrong("second backup", "not in the second folder")
	now = now.Add(time.Minute)
	_, err = h.keeper.Scheduled(t.Context(), "schedule", now)
	require.Error(t, err)
	wrong("second backup", "usb")

	// Owners.
	at := workshop.Stamp{At: now, By: "local:test"}
	require.NoError(t, h.Store.Suppress(loops.Suppression{Address: "a@garden.example", Since: now}, "test"))
	good("addresses given up")
	for i := range 10 {
		require.NoError(t, h.Store.Suppress(loops.Suppression{Address: string(rune('b'+i)) + "@garden.example", Since: now}, "test"))
	}
	wrong("addresses given up", "11 addresses")
	good("owners' addresses")
	good("zone data")
	o, err := h.Workshop.AddOwner(at, loops.Owner{Name: "Bo Lindquist"})
	require.NoError(t, err)
	o.Email, o.Zone = "jürgen@garden.example", "Mars/Olympus" // as an older version took it
	require.NoError(t, h.Store.Commit(loops.Change{At: now, By: "test", Action: "test", Owners: []loops.Owner{o}}))
	wrong("owners' addresses", "2")
	wrong("zone data", "Mars/Olympus")

	// Letters that are held, and such as do not leave.
	good("held letters")
	good("mail")
	require.NoError(t, h.Store.Commit(loops.Change{At: now, By: "test", Action: "test", Messages: []loops.Message{{
		Key: "1/2026-11-30/test", Owner: 1, To: "ana@garden.example", Purpose: loops.PurposeReminder, Subject: "x", Raw: []byte("x"),
		Created: now, NextAttempt: now, Status: loops.Queued,
	}}}))
	now = now.Add(3 * time.Hour)
	h.pulse.Swept(now, 0, nil)
	wrong("mail", "No mail has left")
	require.NoError(t, h.Store.Hold("1/2026-11-30/test", "test", now))
	wrong("held letters", "1 letter")

	// The folder of mail that came back.
	h.keeper.config.Mail.BounceMaildir = filepath.Join(t.TempDir(), "bounces")
	wrong("bounces", "no such file")
	require.NoError(t, os.MkdirAll(filepath.Join(h.keeper.config.Mail.BounceMaildir, "new"), 0o700))
	require.NoError(t, os.MkdirAll(filepath.Join(h.keeper.config.Mail.BounceMaildir, "cur"), 0o700))
	good("bounces")

	// What mail needs.
	good("mail files")
	h.keeper.config.Mail.Templates = filepath.Join(t.TempDir(), "none")
	wrong("mail files", "none")
	h.keeper.config.Mail.Templates = ""

	// No daemon.
	h.serving.Store(false)
	wrong("daemon", "No daemon runs")
	assert.Equal(t, doctor.Follows, state("sweep").State)
}

// The line of the canary is what its alarm says.
func TestDoctorAsksTheCanary(t *testing.T) {
	t.Parallel()
	_, h := house(t, relayed, func(c *Config) { c.Mail.BounceAddress = "bounce@cooling-home.arpa" })
	h.serving.Store(true)
	h.pulse.Swept(testNow(), 0, nil)
	line := func() doctor.Line { return h.Quick().Line("canary") }
	assert.Equal(t, doctor.NotHere, line().State, line())
	require.NoError(t, h.Store.PutCanary(loops.Canary{}.WithSent(testNow().Add(-31*time.Hour))))
	state, _, err := h.Workshop.CanaryState()
	require.NoError(t, err)
	reason, _ := h.Workshop.CanaryTrouble(state, testNow())
	assert.Contains(t, reason, "has not come back")
	assert.Equal(t, doctor.Red, line().State, line())
	assert.Equal(t, reason, line().Says)
	written := testNow().Add(-2 * time.Hour)
	require.NoError(t, h.Store.PutCanary(loops.Canary{}.WithSent(written).WithArrived(written, testNow())))
	assert.Equal(t, doctor.Good, line().State, line())
}

// Senders and links that are nobody's.
func TestReach(t *testing.T) {
	t.Parallel()
	for _, tt := range []struct{ from, base, field string }{
		{"bench@cooling-home.arpa", "https://192.168.1.20", ""},
		{"bench@cooling-home.arpa", "http://192.168.1.20:8377", ""},
		{"bench@cooling-home.arpa", "", ""},
		{"workshop@fillmark.example", "https://192.168.1.20", "mail.from"},
		{"bench@Example.COM", "https://192.168.1.20", "mail.from"},
		{"bench@mail.example.org", "https://192.168.1.20", "mail.from"},
		{"bench@works.test", "https://192.168.1.20", "mail.from"},
		{"bench@cooling-home.arpa", "http://localhost:8377", "base_url"},
		{"bench@cooling-home.arpa", "https://[::1]", "base_url"},
		{"bench@cooling-home.arpa", "http://127.8.8.8", "base_url"},
		{"bench@cooling-home.arpa", "http://0.0.0.0:8377", "base_url"},
		{"bench@cooling-home.arpa", "https://loops.workshop.example", "base_url"},
		{"bench@cooling-home.arpa", "https://home.arpa", ""},
		{"bench@cooling-home.arpa", "https://loops-home.arpa", ""},
		{"bench@counterexample.cooling-home.arpa", "https://example.cooling.internal", ""},
		{"bench@cooling.home.arpa", "https://loops-home.arpa", "mail.from"},
		{"bench@Home.arpa", "https://loops-home.arpa", "mail.from"},
		{"bench@cooling.local", "https://loops-home.arpa", "mail.from"},
		{"bench@cooling.fritz.internal", "https://loops-home.arpa", "mail.from"},
		{"bench@works.lan", "https://loops-home.arpa", "mail.from"},
		{"bench@192.168.1.20", "https://loops-home.arpa", "mail.from"},
	} {
		c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
		c.Mail.From, c.BaseURL = tt.from, tt.base
		assert.Empty(t, c.ReachProblems(), "mail reaches nobody anyway")
		c.Mail.Transport = "smtp"
		require.Empty(t, c.Problems())
		problems := c.ReachProblems()
		if tt.field == "" {
			assert.Empty(t, problems, tt)
		} else if assert.Len(t, problems, 1, tt) {
			assert.True(t, strings.HasPrefix(problems[0].Error(), tt.field), problems[0])
		}
		assert.Equal(t, tt.field == "mail.from", doctor.Examine(c.facts(testNow())).Line("sender").State == doctor.Red)
		assert.Equal(t, tt.field == "base_url", doctor.Examine(c.facts(testNow())).Line("links").State == doctor.Red)
		c.Mail.Trial = true
		assert.Empty(t, c.ReachProblems(), "a relay for trials")
	}
	// However it was started, no mail leaves with them.
	_, h := house(t, func(c *Config) { c.Mail.Transport, c.BaseURL = "smtp", "http://127.0.0.1:8377" })
	_, err := h.deliver(t.Context(), testNow())
	require.ErrorContains(t, err, "mail.from")
	require.ErrorContains(t, err, "base_url")
}

// Where nobody but the workshop can open the pages no letter has a link: that is
// said, with how owners answer then.
func TestWithoutLinks(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
	c.Mail.From = "bench@cooling-home.arpa"
	assert.Empty(t, c.WithoutLinks(), "no letter leaves")
	c.Mail.Transport = "smtp"
	assert.Equal(t, "letters have no links, since base_url is not set: owners answer by mail to bench@cooling-home.arpa, and a person has to read it, since mail.imap is not set", c.WithoutLinks())
	c.Mail.IMAP.Address = "imap.cooling-home.arpa:993"
	for _, own := range []string{"http://10.0.0.4:8377", "http://192.168.1.20", "https://[fd12::1]", "http://bench", "https://bench.home.arpa", "https://Loops.Home.Arpa.:8377", "http://bench.local"} {
		c.BaseURL = own
		assert.Empty(t, c.ReachProblems(), own)
		assert.Equal(t, "letters have no links, since only your own network knows "+own+": owners answer by mail to bench@cooling-home.arpa, and mail.imap reads it", c.WithoutLinks())
		line := doctor.Examine(c.facts(testNow())).Line("links")
		assert.Equal(t, doctor.NotHere, line.State, own)
		assert.Contains(t, line.Says, "Letters have no links")
	}
	c.BaseURL = "https://loops-home.arpa"
	assert.Empty(t, c.WithoutLinks())
	assert.Equal(t, doctor.Good, doctor.Examine(c.facts(testNow())).Line("links").State)
}

// certificate writes a certificate that ends on a day.
func certificate(t *testing.T, folder string, ends time.Time) (cert, key string) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	made, err := x509.CreateCertificate(rand.Reader, &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: ends.AddDate(0, -3, 0), NotAfter: ends},
		&x509.Certificate{SerialNumber: big.NewInt(1)}, &private.PublicKey, private)
	require.NoError(t, err)
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	require.NoError(t, err)
	cert, key = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	require.NoError(t, os.WriteFile(cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: made}), 0o600))
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}), 0o600))
	return cert, key
}

func TestDoctorReadsTheCertificate(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	state := func() doctor.Line { return doctor.Examine(c.facts(testNow())).Line("certificate") }
	assert.Equal(t, doctor.NotHere, state().State)
	c.TLSCert, c.TLSKey = certificate(t, folder, testNow().AddDate(0, 0, 30))
	assert.Contains(t, state().Says, "30 days")
	assert.Equal(t, doctor.Good, state().State)
	certificate(t, folder, testNow().AddDate(0, 0, 3))
	assert.Equal(t, doctor.Red, state().State)
	assert.Contains(t, state().Says, "in 3 days")
	require.NoError(t, os.WriteFile(c.TLSCert, []byte("none"), 0o600))
	assert.Contains(t, state().Says, "cannot be used")
}

// Without a daemon the register is looked at all the same: one that is not there
// yet, one that is damaged, one that is sound.
func TestExamineWithoutADaemon(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
	look := func() doctor.Report {
		r, err := Examine(t.Context(), c, testNow, slog.New(slog.DiscardHandler))
		require.NoError(t, err)
		return r
	}
	assert.Equal(t, doctor.NotHere, look().Line("register").State)
	assert.NoDirExists(t, filepath.Dir(c.Store), "who only looks makes nothing")
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, h.Close())
	assert.Equal(t, doctor.Good, look().Line("register").State)
	assert.Equal(t, doctor.Red, look().Line("daemon").State)
	require.NoError(t, os.Truncate(c.Store, 5000))
	report := look()
	assert.Equal(t, doctor.Red, report.Line("register").State)
	assert.Contains(t, report.Line("register").Says, "damaged")
	assert.Equal(t, []string{"register"}, report.Line("zone data").From)
}

// /readyz says which line it is, once the house does not do its work.
func TestReadyzSaysWhatTheDoctorSays(t *testing.T) {
	t.Parallel()
	c, h := house(t)
	h.serving.Store(true)
	h.pulse.Swept(testNow(), 0, nil)
	_, err := h.keeper.Scheduled(t.Context(), "schedule", testNow())
	require.NoError(t, err)
	ready := func() (int, string) {
		answer := httptest.NewRecorder()
		r, err := http.NewRequestWithContext(context.Background(), "GET", "http://127.0.0.1/readyz", nil)
		require.NoError(t, err)
		h.Handler.ServeHTTP(answer, r)
		return answer.Code, answer.Body.String()
	}
	code, said := ready()
	require.Equal(t, http.StatusOK, code, said)
	require.NoError(t, os.Rename(c.Store, c.Store+".away"))
	code, said = ready()
	assert.Equal(t, http.StatusServiceUnavailable, code)
	assert.Contains(t, said, "register: Nothing can be recorded")
	require.NoError(t, os.Rename(c.Store+".away", c.Store))
	require.NoError(t, h.Store.NoteBackups(loops.Backups{Made: testNow(), Tried: testNow(), DrillFault: "its export is not the register's"}))
	_, said = ready()
	assert.Contains(t, said, "restore drill: ")
}
