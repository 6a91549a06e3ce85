// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package workshop_test

import (
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"fillmark/notify"
)

// relay is an SMTP server that takes mail, puts it off, refuses it, or takes it
// and hangs up before it says so.
type relay struct {
	address string

	mu   sync.Mutex
	does string // "", "defer", "refuse", "nobody", "hang up"
	dead string // what addresses begin with that are nobody's, whatever it does
	got  []arrived
}

// arrived is one mail as the relay had it.
type arrived struct{ to, raw string }

type relaySession struct {
	relay *relay
	conn  *smtp.Conn
	to    string
}

func (r *relay) NewSession(c *smtp.Conn) (smtp.Session, error) {
	return &relaySession{relay: r, conn: c}, nil
}

func (s *relaySession) Reset()                               {}
func (s *relaySession) Logout() error                        { return nil }
func (s *relaySession) Mail(string, *smtp.MailOptions) error { return nil }

func (s *relaySession) Rcpt(to string, _ *smtp.RcptOptions) error {
	s.to = to
	does := s.relay.now()
	if dead := s.relay.dead; dead != "" && strings.HasPrefix(to, dead) {
		does = "nobody"
	}
	switch does {
	case "defer":
		return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 2, 0}, Message: "later"}
	case "refuse":
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 2, 2}, Message: "full"}
	case "nobody":
		return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such user\x1b[2J\u009b2J"}
	}
	return nil
}

func (s *relaySession) Data(body io.Reader) error {
	raw, err := io.ReadAll(body)
	if err != nil {
		return err
	}
	s.relay.mu.Lock()
	defer s.relay.mu.Unlock()
	s.relay.got = append(s.relay.got, arrived{s.to, string(raw)})
	if s.relay.does == "hang up" {
		return s.conn.Conn().Close()
	}
	return nil
}

func (r *relay) now() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.does
}

// set changes what the relay does; take empties what it had.
func (r *relay) set(does string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.does = does
}

func (r *relay) take() []arrived {
	r.mu.Lock()
	defer r.mu.Unlock()
	got := r.got
	r.got = nil
	return got
}

func startRelay(t testing.TB) *relay {
	t.Helper()
	r := &relay{}
	server := smtp.NewServer(r)
	server.Domain, server.ErrorLog = "relay.example", quiet{}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	r.address = l.Addr().String()
	done := make(chan struct{})
	go func() {
		defer close(done)
		_ = server.Serve(l)
	}()
	t.Cleanup(func() {
		_ = server.Close()
		_ = l.Close()
		<-done
	})
	return r
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

var signingKey = sync.OnceValues(notify.GenerateKey)

// delivererTo delivers the bench's outbox, signed, to the relay.
func (b bench) delivererTo(t require.TestingT, r *relay) *notify.Deliverer {
	key, err := signingKey()
	require.NoError(t, err)
	signer, err := notify.NewSigner("test.example", "fm", key)
	require.NoError(t, err)
	transport, err := notify.NewRelay(notify.RelayOptions{Address: r.address, HelloName: "bench.test.example", Security: notify.Plain, ReplyTimeout: 5 * time.Second})
	require.NoError(t, err)
	d, err := notify.NewDeliverer(b.store, b.Workshop, signer, transport, notify.DefaultRetryPlan(), nil)
	require.NoError(t, err)
	return d
}

// unsigned is the mail without its signature.
func (a arrived) unsigned() string {
	_, rest, _ := strings.Cut(a.raw, "\r\nFrom: ")
	return "From: " + rest
}
