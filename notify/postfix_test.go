// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/notify"
	"fillmark/testdata/peer"
)

// postfix is a real Postfix with a configuration, queue and port of its own.
type postfix struct {
	dir, address string
	roots        *x509.CertPool
}

// startPostfix runs one that wants TLS and a full host name before anything
// else, delivers mail for garden.example and tidewater.example to Maildirs, and
// relays mail for refused.example to the address given. More are lines of its
// main.cf, in which DIR is its folder.
func startPostfix(t *testing.T, refusing string, more ...string) postfix {
	t.Helper()
	program := peer.Program(t, "/usr/sbin/postfix")
	if os.Geteuid() != 0 {
		if os.Getenv("CI") == "true" {
			t.Fatal("postfix is started by root only")
		}
		t.Skip("postfix is started by root only")
	}
	dir, err := os.MkdirTemp("", "fillmark-postfix-") // its daemons must reach it, which they cannot below t.TempDir
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(dir)) })
	for _, sub := range []string{"etc", "spool", "data", "mail"} {
		require.NoError(t, os.Mkdir(filepath.Join(dir, sub), 0o755))
	}
	p := postfix{dir: dir, roots: x509.NewCertPool()}
	p.certificate(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	p.address = l.Addr().String()
	require.NoError(t, l.Close())

	refusingHost, refusingPort, err := net.SplitHostPort(refusing)
	require.NoError(t, err)
	main := strings.NewReplacer("DIR", dir, "REFUSING", "["+refusingHost+"]:"+refusingPort).Replace(`compatibility_level = 3.6
queue_directory = DIR/spool
data_directory = DIR/data
command_directory = /usr/sbin
daemon_directory = /usr/lib/postfix/sbin
maillog_file_prefixes = DIR
maillog_file = DIR/log
inet_interfaces = 127.0.0.1
inet_protocols = ipv4
myhostname = relay.provider.example
mydestination =
mynetworks = 127.0.0.0/8
smtpd_helo_required = yes
smtpd_delay_reject = no
smtpd_helo_restrictions = reject_invalid_helo_hostname, reject_non_fqdn_helo_hostname
smtpd_tls_security_level = encrypt
smtpd_tls_cert_file = DIR/etc/cert.pem
smtpd_tls_key_file = DIR/etc/key.pem
recipient_delimiter = +
virtual_mailbox_domains = garden.example, tidewater.example
virtual_mailbox_base = DIR/mail
virtual_mailbox_maps = static:all/
virtual_uid_maps = static:65534
virtual_gid_maps = static:65534
virtual_minimum_uid = 100
relay_domains = refused.example
transport_maps = inline:{ { refused.example = smtp:REFUSING } }
smtp_dns_support_level = disabled
` + strings.Join(more, "\n") + "\n")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "etc/main.cf"), []byte(main), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "etc/master.cf"), []byte(p.address+` inet n - n - - smtpd
pickup unix n - n 60 1 pickup
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
tlsmgr unix - - n 1000? 1 tlsmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
verify unix - - n - 1 verify
flush unix n - n 1000? 0 flush
proxymap unix - - n - - proxymap
smtp unix - - n - - smtp
relay unix - - n - - smtp
error unix - - n - - error
retry unix - - n - - error
virtual unix - n n - - virtual
anvil unix - - n - 1 anvil
scache unix - - n - 1 scache
postlog unix-dgram n - n - 1 postlogd
`), 0o644))
	require.NoError(t, os.Chown(filepath.Join(dir, "mail"), 65534, 65534))
	out, err := exec.Command("/bin/sh", "-c", "chown postfix "+filepath.Join(dir, "data")).CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(program, "-c", filepath.Join(dir, "etc"), "start").CombinedOutput()
	require.NoError(t, err, string(out))
	t.Cleanup(func() {
		out, err := exec.Command(program, "-c", filepath.Join(dir, "etc"), "stop").CombinedOutput()
		assert.NoError(t, err, string(out))
		if t.Failed() {
			log, _ := os.ReadFile(filepath.Join(dir, "log"))
			t.Log(string(log))
		}
	})
	return p
}

func (p postfix) certificate(t *testing.T) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), DNSNames: []string{"relay.provider.example"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Date(2001, time.January, 1, 0, 0, 0, 0, time.UTC), NotAfter: time.Date(2099, time.January, 1, 0, 0, 0, 0, time.UTC), IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	parsed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	p.roots.AddCert(parsed)
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	require.NoError(t, err)
	for name, block := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: der}, "key.pem": {Type: "PRIVATE KEY", Bytes: secret}} {
		require.NoError(t, os.WriteFile(filepath.Join(p.dir, "etc", name), pem.EncodeToMemory(block), 0o600))
	}
}

func (p postfix) relay(t *testing.T, hello string) *notify.Relay {
	t.Helper()
	return relayTo(t, notify.RelayOptions{Address: p.address, HelloName: hello, Security: notify.StartTLS, TLS: &tls.Config{RootCAs: p.roots}, ReplyTimeout: 30 * time.Second})
}

// delivered waits until so many mails lie in the Maildir and reads them.
func (p postfix) delivered(t *testing.T, n int) [][]byte {
	t.Helper()
	var mails [][]byte
	require.Eventually(t, func() bool {
		paths, err := filepath.Glob(filepath.Join(p.dir, "mail/all/new/*"))
		require.NoError(t, err)
		if len(paths) < n {
			return false
		}
		mails = nil
		for _, path := range paths {
			raw, err := os.ReadFile(path)
			require.NoError(t, err)
			mails = append(mails, raw)
		}
		return true
	}, 30*time.Second, 50*time.Millisecond)
	return mails
}

// A strict relay takes our mail over STARTTLS in one session, and what it
// delivers still carries a signature that holds.
func TestPostfixTakesAndDelivers(t *testing.T) {
	t.Parallel()
	p := startPostfix(t, "127.0.0.1:9")
	s, record := newSigner(t)
	relay := p.relay(t, "fillmark.tidewater.example")
	const count = 5
	for n := range count {
		in := several()
		in.MessageID = notify.MessageIDFor("", loops.MessageKey(fmt.Sprint(n)), "tidewater.example")
		l, err := notify.ComposeReminder(in)
		require.NoError(t, err)
		raw, err := s.Sign(l.Raw)
		require.NoError(t, err)
		require.NoError(t, relay.Send(t.Context(), notify.Envelope{From: l.From, To: "anna@garden.example"}, raw))
	}
	relay.End()
	for _, mail := range p.delivered(t, count) {
		// In front of ours stands what the relay added.
		assert.True(t, verifyInGo(t, record, bytes.ReplaceAll(mail, []byte("\n"), []byte("\r\n"))))
		assert.Contains(t, string(mail), "from fillmark.tidewater.example")
	}
	log, err := os.ReadFile(filepath.Join(p.dir, "log"))
	require.NoError(t, err)
	assert.Equal(t, 1, strings.Count(string(log), ": connect from"), "one session for all")

	// It does refuse who does not give a full name, and that is our fault, not
	// the owner's.
	var e *notify.SendError
	bare := relayTo(t, notify.RelayOptions{Address: p.address, HelloName: "fillmark.tidewater.example"})
	err = bare.Send(t.Context(), env, composed(t))
	bare.End()
	require.ErrorAs(t, err, &e, "no TLS, no mail")
	assert.True(t, e.RelayFault, "%v", err)
}

// A report that Postfix itself made names our message by its return path.
func TestGenuineBounceIsUnderstood(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, reply, status string
		gone                bool
	}{
		{"no such mailbox", "550 5.1.1 no such mailbox here", "5.1.1", true},
		{"over quota", "552 5.2.2 mailbox is full", "5.2.2", false},
		{"no enhanced code", "550 no", "5.0.0", false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			p := startPostfix(t, peer.StartSink(t, "-B", tc.reply, "-f", "RCPT"))
			path := returnPath(t)
			key := loops.MessageKey("7/2026-11-24/reminder")
			relay := p.relay(t, "fillmark.tidewater.example")
			require.NoError(t, relay.Send(t.Context(), notify.Envelope{From: path.For(key), To: "anna@refused.example"}, composed(t)))
			relay.End()
			report := p.delivered(t, 1)[0]
			b, err := notify.ReadBounce(bytes.NewReader(report))
			require.NoError(t, err, string(report))
			failed, ok := b.Failed()
			require.True(t, ok)
			assert.Equal(t, tc.status, failed.Status)
			assert.Contains(t, failed.Diagnostic, strings.Fields(tc.reply)[len(strings.Fields(tc.reply))-1])
			assert.Equal(t, tc.gone, notify.AtOnce(failed.Status))
			found := ""
			for _, address := range b.To {
				if hash, ok := path.Open(address); ok {
					found = hash
				}
			}
			assert.Equal(t, notify.MessageHash(key), found)
		})
	}
}
