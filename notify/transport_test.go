// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify_test

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"net/textproto"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
)

// relayServer is an SMTP server in this process that refuses where told to.
type relayServer struct {
	refuse map[string]error // by verb: CONNECT, MAIL, RCPT, DATA, AUTH
	login  string           // user:password; empty offers no login

	mu    sync.Mutex
	hello []string
	mails []string
	to    []string
}

type relaySession struct{ s *relayServer }

func (s *relayServer) NewSession(c *smtp.Conn) (smtp.Session, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.hello = append(s.hello, c.Hostname())
	if err := s.refuse["CONNECT"]; err != nil {
		return nil, err
	}
	return &relaySession{s}, nil
}

func (r *relaySession) AuthMechanisms() []string {
	if r.s.login == "" {
		return nil
	}
	return []string{sasl.Plain}
}

func (r *relaySession) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user+":"+password != r.s.login {
			return smtp.ErrAuthFailed
		}
		return r.s.refuse["AUTH"]
	}), nil
}
func (r *relaySession) Reset()                               {}
func (r *relaySession) Logout() error                        { return nil }
func (r *relaySession) Mail(string, *smtp.MailOptions) error { return r.s.refuse["MAIL"] }
func (r *relaySession) Rcpt(to string, _ *smtp.RcptOptions) error {
	r.s.mu.Lock()
	defer r.s.mu.Unlock()
	r.s.to = append(r.s.to, to)
	return r.s.refuse["RCPT"]
}

func (r *relaySession) Data(body io.Reader) error {
	data, err := io.ReadAll(body)
	if err != nil {
		return err
	}
	if err := r.s.refuse["DATA"]; err != nil {
		return err
	}
	r.s.mu.Lock()
	defer r.s.mu.Unlock()
	r.s.mails = append(r.s.mails, string(data))
	return nil
}

// start serves until the test ends and returns the address.
func (s *relayServer) start(t testing.TB, config *tls.Config, implicit bool) string {
	t.Helper()
	server := smtp.NewServer(s)
	server.Domain = "relay.example"
	server.TLSConfig = config
	server.ErrorLog = quietLog{}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := l.Addr().String()
	if implicit {
		l = tls.NewListener(l, config)
	}
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = server.Serve(l)
	}()
	t.Cleanup(func() {
		_ = server.Close()
		_ = l.Close() // which Close leaves open where Serve has not begun
		<-done
	})
	return address
}

type quietLog struct{}

func (quietLog) Printf(string, ...any) {}
func (quietLog) Println(...any)        {}

// certificate returns a server's configuration for 127.0.0.1 and a client's
// that trusts it.
func certificate(t testing.TB) (server, client *tls.Config) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Date(2001, time.January, 1, 0, 0, 0, 0, time.UTC),
		NotAfter: time.Date(2099, time.January, 1, 0, 0, 0, 0, time.UTC), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	cert, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(cert)
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}, &tls.Config{RootCAs: roots}
}

func relayTo(t testing.TB, o notify.RelayOptions) *notify.Relay {
	t.Helper()
	if o.HelloName == "" {
		o.HelloName = "fillmark.tidewater.example"
	}
	if o.Security == "" {
		o.Security = notify.Plain
	}
	r, err := notify.NewRelay(o)
	require.NoError(t, err)
	return r
}

var env = notify.Envelope{From: "bench@tidewater.example", To: "anna@garden.example"}

func reply(code int, a, b, c int) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: smtp.EnhancedCode{a, b, c}, Message: "no"}
}

func TestRelayDelivers(t *testing.T) {
	t.Parallel()
	raw := composed(t)
	serverTLS, clientTLS := certificate(t)
	for _, tc := range []struct {
		name     string
		security notify.Security
		login    bool
	}{
		{"plain", notify.Plain, false},
		{"starttls", notify.StartTLS, false},
		{"starttls and login", notify.StartTLS, true},
		{"implicit tls and login", notify.ImplicitTLS, true},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := &relayServer{}
			o := notify.RelayOptions{Security: tc.security, TLS: clientTLS}
			if tc.login {
				s.login, o.Username, o.Password = "bench:open sesame", "bench", "open sesame"
			}
			config := serverTLS
			if tc.security == notify.Plain {
				config = nil
			}
			o.Address = s.start(t, config, tc.security == notify.ImplicitTLS)
			require.NoError(t, relayTo(t, o).Send(t.Context(), env, raw))
			s.mu.Lock()
			defer s.mu.Unlock()
			require.Len(t, s.mails, 1)
			assert.Equal(t, string(raw), s.mails[0], "the bytes arrive as they were signed")
			assert.Equal(t, []string{env.To}, s.to)
			for _, name := range s.hello {
				assert.Equal(t, "fillmark.tidewater.example", name, "every EHLO, also the one before TLS")
			}
		})
	}
}

// The session stays open from one message to the next, survives a refusal, and
// is opened again where the relay closed it in between.
func TestRelayKeepsItsSession(t *testing.T) {
	t.Parallel()
	s := &relayServer{refuse: map[string]error{}}
	relay := relayTo(t, notify.RelayOptions{Address: s.start(t, nil, false), Security: notify.Plain})
	raw := composed(t)
	for range 3 {
		require.NoError(t, relay.Send(t.Context(), env, raw))
	}
	s.mu.Lock()
	s.refuse["RCPT"] = reply(550, 5, 1, 1)
	s.mu.Unlock()
	var e *notify.SendError
	require.ErrorAs(t, relay.Send(t.Context(), env, raw), &e)
	assert.Equal(t, "5.1.1", e.Status)
	assert.True(t, e.Address)
	s.mu.Lock()
	delete(s.refuse, "RCPT")
	s.mu.Unlock()
	require.NoError(t, relay.Send(t.Context(), env, raw))
	assert.Len(t, s.hello, 1, "one greeting for all of them")
	assert.Len(t, s.mails, 4)
	relay.End()
	require.NoError(t, relay.Send(t.Context(), env, raw))
	assert.Len(t, s.hello, 2)
	relay.End()
}

func TestRelayOpensAnewWhereASessionWasClosed(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	sessions := 0
	served := make(chan struct{})
	go func() {
		defer close(served)
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			sessions++
			oneMail(conn)
		}
	}()
	relay := relayTo(t, notify.RelayOptions{Address: l.Addr().String(), Security: notify.Plain})
	for range 3 {
		require.NoError(t, relay.Send(t.Context(), env, composed(t)))
	}
	require.NoError(t, l.Close())
	<-served
	assert.Equal(t, 3, sessions)
}

// oneMail takes one message and closes the line without a word.
func oneMail(conn net.Conn) {
	defer conn.Close()
	text := textproto.NewConn(conn)
	_ = text.PrintfLine("220 relay.example")
	for {
		line, err := text.ReadLine()
		switch {
		case err != nil:
			return
		case line == ".":
			_ = text.PrintfLine("250 accepted")
			return
		case line == "DATA":
			_ = text.PrintfLine("354 go on")
		case strings.HasPrefix(line, "EHLO "), strings.HasPrefix(line, "MAIL "), strings.HasPrefix(line, "RCPT "):
			_ = text.PrintfLine("250 ok")
		}
	}
}

func TestRelayKeepsTheRate(t *testing.T) {
	t.Parallel()
	s := &relayServer{}
	relay := relayTo(t, notify.RelayOptions{Address: s.start(t, nil, false), Security: notify.Plain, PerMinute: 600})
	begin := time.Now()
	for range 4 {
		require.NoError(t, relay.Send(t.Context(), env, composed(t)))
	}
	relay.End()
	assert.GreaterOrEqual(t, time.Since(begin), 300*time.Millisecond, "three waits of 100 ms")
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	assert.Error(t, relay.Send(ctx, env, composed(t)))
}

func TestRelayRefusals(t *testing.T) {
	t.Parallel()
	raw := composed(t)
	for _, tc := range []struct {
		name      string
		refuse    map[string]error
		temporary bool
		fault     bool
		code      int
	}{
		{"greeting 421", map[string]error{"CONNECT": reply(421, 4, 3, 2)}, true, true, 421},
		{"greeting 554", map[string]error{"CONNECT": reply(554, 5, 7, 1)}, true, true, 554},
		{"sender 451", map[string]error{"MAIL": reply(451, 4, 3, 0)}, true, true, 451},
		{"sender 550", map[string]error{"MAIL": reply(550, 5, 7, 1)}, true, true, 550},
		{"wants a login", map[string]error{"MAIL": reply(530, 5, 7, 0)}, true, true, 530},
		{"too big", map[string]error{"MAIL": reply(552, 5, 3, 4)}, false, false, 552},
		{"busy mailbox", map[string]error{"RCPT": reply(450, 4, 2, 0)}, true, false, 450},
		{"no such mailbox", map[string]error{"RCPT": reply(550, 5, 1, 1)}, false, false, 550},
		{"over quota", map[string]error{"RCPT": reply(552, 5, 2, 2)}, true, false, 552},
		{"relaying denied", map[string]error{"RCPT": reply(554, 5, 7, 1)}, true, false, 554},
		{"going down", map[string]error{"RCPT": reply(421, 4, 3, 2)}, true, true, 421},
		{"content later", map[string]error{"DATA": reply(451, 4, 7, 1)}, true, false, 451},
		{"content refused", map[string]error{"DATA": reply(554, 5, 6, 0)}, false, false, 554},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			s := &relayServer{refuse: tc.refuse}
			err := relayTo(t, notify.RelayOptions{Address: s.start(t, nil, false)}).Send(t.Context(), env, raw)
			var e *notify.SendError
			require.ErrorAs(t, err, &e)
			assert.Equal(t, tc.temporary, e.Temporary, "temporary: %v", err)
			assert.Equal(t, tc.fault, e.RelayFault, "relay fault: %v", err)
			assert.Equal(t, tc.code, e.Code)
			assert.Empty(t, s.mails)
		})
	}
}

func TestRelayFaultsBeforeTheMessage(t *testing.T) {
	t.Parallel()
	raw := composed(t)
	serverTLS, clientTLS := certificate(t)
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	plain := (&relayServer{}).start(t, nil, false)
	locked := (&relayServer{login: "bench:right"}).start(t, serverTLS, false)
	for _, tc := range []struct {
		name string
		o    notify.RelayOptions
	}{
		{"nobody listens", notify.RelayOptions{Address: closed.Addr().String()}},
		{"no STARTTLS offered", notify.RelayOptions{Address: plain, Security: notify.StartTLS, TLS: clientTLS}},
		{"certificate unknown", notify.RelayOptions{Address: locked, Security: notify.StartTLS}},
		{"wrong password", notify.RelayOptions{Address: locked, Security: notify.StartTLS, TLS: clientTLS, Username: "bench", Password: "not-this-one"}},
		{"TLS where none is", notify.RelayOptions{Address: plain, Security: notify.ImplicitTLS, TLS: clientTLS, ReplyTimeout: time.Second}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			err := relayTo(t, tc.o).Send(t.Context(), env, raw)
			var e *notify.SendError
			require.ErrorAs(t, err, &e)
			assert.True(t, e.Temporary)
			assert.True(t, e.RelayFault)
			assert.NotContains(t, err.Error(), "not-this-one")
		})
	}
}

// script serves one connection by hand, for what a real server never does.
func script(t testing.TB, talk func(net.Conn)) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	done := make(chan struct{})
	go func() {
		defer close(done)
		conn, err := l.Accept()
		if err != nil {
			return
		}
		defer conn.Close()
		talk(conn)
	}()
	t.Cleanup(func() {
		_ = l.Close()
		<-done
	})
	return l.Addr().String()
}

// answer writes each reply after a line has come in.
func answer(conn net.Conn, replies ...string) {
	buf := make([]byte, 4096)
	for i, r := range replies {
		if i > 0 {
			if _, err := conn.Read(buf); err != nil {
				return
			}
		}
		fmt.Fprint(conn, r)
	}
}

func TestRelaySendsNothingAfterInjectedReply(t *testing.T) {
	t.Parallel()
	_, clientTLS := certificate(t)
	address := script(t, func(conn net.Conn) {
		answer(conn, "220 hi\r\n", "250-hi\r\n250 STARTTLS\r\n", "220 go\r\n250 injected\r\n")
		_, _ = io.Copy(io.Discard, conn)
	})
	err := relayTo(t, notify.RelayOptions{Address: address, Security: notify.StartTLS, TLS: clientTLS}).Send(t.Context(), env, composed(t))
	assert.ErrorContains(t, err, "in the clear")
}

// takeWhole is a relay that has read a message to its final dot and owes the
// reply.
func takeWhole(conn net.Conn) {
	answer(conn, "220 hi\r\n", "250 hi\r\n", "250 ok\r\n", "250 ok\r\n", "354 go\r\n")
	buf := make([]byte, 1<<16)
	var got strings.Builder
	for !strings.HasSuffix(got.String(), "\r\n.\r\n") {
		n, err := conn.Read(buf)
		if err != nil {
			return
		}
		got.Write(buf[:n])
	}
}

// Told to stop while the reply to a whole message is due, the relay's word is
// waited for and put on record, so that no copy more leaves; one that does not
// come is not waited for long.
func TestStopWaitsForTheReplyThatIsDue(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name, reply, log string
	}{
		{"taken", "250 2.0.0 queued\r\n", "delivered a"},
		{"refused", "550 5.1.1 nobody\r\n", "refused a"},
		{"silent", "", ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			over := make(chan error, 1)
			address := script(t, func(conn net.Conn) {
				takeWhole(conn)
				cancel()
				// A line that is cut shows itself as its end; one that is open says nothing.
				enough := time.AfterFunc(200*time.Millisecond, func() { _ = conn.SetReadDeadline(time.Unix(1, 0)) })
				defer enough.Stop()
				_, err := conn.Read(make([]byte, 1))
				over <- err
				fmt.Fprint(conn, tc.reply)
				assert.NoError(t, conn.SetReadDeadline(time.Time{}))
				_, _ = io.Copy(io.Discard, conn)
			})
			wait := time.Minute
			if tc.reply == "" {
				wait = 400 * time.Millisecond
			}
			b := newBox("a")
			d, err := notify.NewDeliverer(b, nil, nil, relayTo(t, notify.RelayOptions{Address: address, StopTimeout: wait}), notify.DefaultRetryPlan(), nil)
			require.NoError(t, err)
			_, err = d.Deliver(ctx, sent)
			require.ErrorIs(t, <-over, os.ErrDeadlineExceeded, "the line was open")
			if tc.log == "" {
				require.ErrorIs(t, err, context.Canceled)
				assert.Equal(t, []string{"attempt a"}, b.log)
				return
			}
			require.NoError(t, err)
			assert.Contains(t, b.log, tc.log)
		})
	}
}

func TestRelayLostReplyIsUnknown(t *testing.T) {
	t.Parallel()
	address := script(t, takeWhole)
	err := relayTo(t, notify.RelayOptions{Address: address}).Send(t.Context(), env, composed(t))
	var e *notify.SendError
	require.ErrorAs(t, err, &e)
	assert.True(t, e.Temporary)
	assert.False(t, e.RelayFault)
}

// A relay that stops reading is left after the write timeout, not after the
// reply timeouts.
func TestRelayWriteDeadline(t *testing.T) {
	t.Parallel()
	hold := make(chan struct{})
	address := script(t, func(conn net.Conn) {
		answer(conn, "220 hi\r\n", "250 hi\r\n", "250 ok\r\n", "250 ok\r\n", "354 go\r\n")
		<-hold
	})
	t.Cleanup(func() { close(hold) })
	raw := []byte("From: a@b.example\r\n\r\n" + strings.Repeat("0123456789abcdef\r\n", 2<<20))
	err := relayTo(t, notify.RelayOptions{Address: address, WriteTimeout: 200 * time.Millisecond}).Send(t.Context(), env, raw)
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
}

func TestRelayEndsWithContext(t *testing.T) {
	t.Parallel()
	greeted := make(chan struct{})
	hold := make(chan struct{})
	address := script(t, func(conn net.Conn) {
		close(greeted)
		<-hold
	})
	t.Cleanup(func() { close(hold) })
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		<-greeted
		cancel()
	}()
	assert.Error(t, relayTo(t, notify.RelayOptions{Address: address}).Send(ctx, env, composed(t)))
}

func TestRelayRefusesHostileAddresses(t *testing.T) {
	t.Parallel()
	s := &relayServer{}
	r := relayTo(t, notify.RelayOptions{Address: s.start(t, nil, false)})
	for _, to := range []string{"a@b.example> RET=FULL", "a@b.example\r\nRCPT TO:<c@d.example>", "", "Anna <a@b.example>", "ä@b.example", "a@bär.example", strings.Repeat("a", 65) + "@b.example"} {
		err := r.Send(t.Context(), notify.Envelope{From: env.From, To: to}, composed(t))
		var e *notify.SendError
		require.ErrorAs(t, err, &e, to)
		assert.False(t, e.Temporary)
	}
	assert.Empty(t, s.hello, "the relay was never spoken to")
}

func TestRelayOptionsRefused(t *testing.T) {
	t.Parallel()
	good := notify.RelayOptions{Address: "mail.tidewater.example:587", HelloName: "fillmark.tidewater.example", Security: notify.StartTLS}
	for name, spoil := range map[string]func(*notify.RelayOptions){
		"no port":               func(o *notify.RelayOptions) { o.Address = "mail.tidewater.example" },
		"hello is localhost":    func(o *notify.RelayOptions) { o.HelloName = "localhost" },
		"hello has line break":  func(o *notify.RelayOptions) { o.HelloName = "a.example\r\nMAIL" },
		"login in the clear":    func(o *notify.RelayOptions) { o.Security, o.Username, o.Password = notify.Plain, "u", "p" },
		"user without password": func(o *notify.RelayOptions) { o.Username = "u" },
		"unknown security":      func(o *notify.RelayOptions) { o.Security = "maybe" },
	} {
		o := good
		spoil(&o)
		_, err := notify.NewRelay(o)
		assert.Error(t, err, name)
	}
	o := good
	o.Username, o.Password = "u", "open sesame"
	_, err := notify.NewRelay(o)
	require.NoError(t, err)
	assert.NotContains(t, fmt.Sprintf("%v %+v %#v", o, o, o), "sesame")
}

func TestMaildir(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "deep", "mail")
	m := notify.Maildir{Dir: dir}
	raw := composed(t)
	require.NoError(t, m.Send(t.Context(), env, raw))
	require.NoError(t, m.Send(t.Context(), env, raw), "the same letter again")
	files, err := os.ReadDir(filepath.Join(dir, "new"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	info, err := files[0].Info()
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	host, err := os.Hostname()
	require.NoError(t, err)
	assert.NotContains(t, files[0].Name(), host)
	got, err := os.ReadFile(filepath.Join(dir, "new", files[0].Name()))
	require.NoError(t, err)
	assert.Equal(t, raw, got)
	left, err := os.ReadDir(filepath.Join(dir, "tmp"))
	require.NoError(t, err)
	assert.Empty(t, left)

	other := reminder()
	other.MessageID = notify.MessageIDFor("", "another", "tidewater.example")
	l, err := notify.ComposeReminder(other)
	require.NoError(t, err)
	require.NoError(t, m.Send(t.Context(), env, l.Raw))
	files, err = os.ReadDir(filepath.Join(dir, "new"))
	require.NoError(t, err)
	assert.Len(t, files, 2)
}

func TestMaildirFault(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	err := notify.Maildir{Dir: file}.Send(t.Context(), env, composed(t))
	var e *notify.SendError
	require.True(t, errors.As(err, &e))
	assert.True(t, e.RelayFault && e.Temporary)
}
