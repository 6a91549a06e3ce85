// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package peer

import (
	"crypto/hmac"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Dovecot is a real Dovecot with a configuration, certificate, user and port of
// its own.
type Dovecot struct {
	Dir                string
	Implicit, StartTLS string // its addresses, host:port
	Roots              *x509.CertPool
	CAFile             string // the same as a file
	Auth               string // the socket at which a mail server asks who may log in
}

const jwtSecret = "a secret of the test that is long enough"

// StartDovecot runs one until the test ends. Its user bench has the password "app
// password", and is let in by a token of [JWT] too.
func StartDovecot(t testing.TB) Dovecot {
	t.Helper()
	program := Program(t, "/usr/sbin/dovecot")
	File(t, "/usr/lib/dovecot/imap")
	if os.Geteuid() != 0 {
		if os.Getenv("CI") == "true" {
			t.Fatal("dovecot is started by root only")
		}
		t.Skip("dovecot is started by root only")
	}
	dir, err := os.MkdirTemp("/tmp", "fm-imap-") // its sockets need a short path, and its daemons must reach it
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(dir)) })
	d := Dovecot{Dir: dir, Roots: x509.NewCertPool(), Implicit: free(t), StartTLS: free(t), CAFile: filepath.Join(dir, "cert.pem"), Auth: filepath.Join(dir, "run/auth-client")}
	d.certificate(t)
	keys := filepath.Join(dir, "keys/default/HS256")
	require.NoError(t, os.MkdirAll(keys, 0o755))
	d.file(t, "keys/default/HS256/default", base64.StdEncoding.EncodeToString([]byte(jwtSecret)))
	d.file(t, "users", "bench:{PLAIN}app password::::::\n")
	d.file(t, "oauth.conf", strings.ReplaceAll("introspection_mode = local\nlocal_validation_key_dict = fs:posix:prefix=DIR/keys/\nusername_attribute = sub\n", "DIR", dir))
	port := func(address string) string { _, p, _ := net.SplitHostPort(address); return p }
	d.file(t, "dovecot.conf", strings.NewReplacer("DIR", dir, "IMPLICIT", port(d.Implicit), "STARTTLS", port(d.StartTLS)).Replace(`
base_dir = DIR/run
state_dir = DIR/state
log_path = DIR/log
protocols = imap
listen = 127.0.0.1
default_internal_user = nobody
default_internal_group = nogroup
default_login_user = nobody
ssl = required
ssl_cert = <DIR/cert.pem
ssl_key = <DIR/key.pem
auth_mechanisms = plain oauthbearer xoauth2
mail_location = maildir:DIR/mail
mail_uid = nobody
mail_gid = nogroup
first_valid_uid = 1
first_valid_gid = 1
passdb {
  driver = oauth2
  mechanisms = oauthbearer xoauth2
  args = DIR/oauth.conf
}
passdb {
  driver = passwd-file
  mechanisms = plain
  args = DIR/users
}
userdb {
  driver = static
  args = home=DIR/mail
}
service imap-login {
  chroot =
  inet_listener imap {
    address = 127.0.0.1
    port = STARTTLS
  }
  inet_listener imaps {
    address = 127.0.0.1
    port = IMPLICIT
    ssl = yes
  }
}
service anvil {
  chroot =
}
service auth {
  unix_listener auth-client {
    mode = 0666
  }
}
`))
	for _, sub := range []string{"", "cur", "new", "tmp"} {
		require.NoError(t, os.MkdirAll(filepath.Join(dir, "mail", sub), 0o755))
		require.NoError(t, os.Chown(filepath.Join(dir, "mail", sub), nobody, nobody))
	}
	server := exec.Command(program, "-F", "-c", filepath.Join(dir, "dovecot.conf"))
	require.NoError(t, server.Start())
	t.Cleanup(func() {
		_ = server.Process.Signal(os.Interrupt)
		_ = server.Wait()
		if t.Failed() {
			log, _ := os.ReadFile(filepath.Join(dir, "log"))
			t.Log(string(log))
		}
	})
	require.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", d.Implicit)
		if err == nil {
			_ = conn.Close()
		}
		return err == nil
	}, 30*time.Second, 50*time.Millisecond)
	return d
}

func free(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer func() { require.NoError(t, l.Close()) }()
	return l.Addr().String()
}

func (d Dovecot) file(t testing.TB, name, content string) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(d.Dir, name), []byte(content), 0o644))
}

// nobody is the user that Dovecot reads the mail as.
const nobody = 65534

func (d Dovecot) certificate(t testing.TB) {
	t.Helper()
	certificate, key := SelfSigned(t, "imap.provider.example")
	require.True(t, d.Roots.AppendCertsFromPEM(certificate))
	d.file(t, "cert.pem", string(certificate))
	d.file(t, "key.pem", string(key))
}

// Comes puts a mail into the mailbox.
func (d Dovecot) Comes(t testing.TB, name, content string) {
	t.Helper()
	d.file(t, "mail/tmp/"+name, content)
	require.NoError(t, os.Chown(filepath.Join(d.Dir, "mail/tmp", name), nobody, nobody))
	require.NoError(t, os.Rename(filepath.Join(d.Dir, "mail/tmp", name), filepath.Join(d.Dir, "mail/new", name)))
}

// Renumber has the mailbox number all of its mails again, as one that was moved to
// another host does.
func (d Dovecot) Renumber() {
	for _, name := range []string{"dovecot-uidlist", "dovecot.index", "dovecot.index.log", "dovecot.index.cache", "dovecot.list.index.log"} {
		_ = os.Remove(filepath.Join(d.Dir, "mail", name)) // not there is as good
	}
}

// JWT is an access token that Dovecot checks by itself (RFC 7519).
func JWT(t testing.TB, claims map[string]any) string {
	t.Helper()
	part := func(v any) string {
		text, err := json.Marshal(v)
		require.NoError(t, err)
		return base64.RawURLEncoding.EncodeToString(text)
	}
	said := part(map[string]any{"alg": "HS256", "typ": "JWT"}) + "." + part(claims)
	mac := hmac.New(sha256.New, []byte(jwtSecret))
	mac.Write([]byte(said))
	return said + "." + base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}
