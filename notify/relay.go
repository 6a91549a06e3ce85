// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"
	"golang.org/x/net/idna"

	"fillmark/notify/login"
)

// Security is how the line to the relay is protected.
type Security string

// The ways. A login needs one of the last two.
const (
	Plain       Security = "none"
	StartTLS    Security = "starttls"
	ImplicitTLS Security = "tls"
)

// RelayOptions describe the mail relay.
type RelayOptions struct {
	Address   string // host:port
	HelloName string // our own name in EHLO, a domain name
	Security  Security
	Username  string // empty for no login
	Password  Secret
	Tokens    *login.Tokens // log in by OAuth 2.0 instead of a password; nil for none
	// PerMinute bounds how many messages go out in a minute, evenly spaced; zero
	// sets no bound.
	PerMinute int
	// TLS is a base for the TLS configuration, for roots and certificates of one's
	// own; nil takes the system's.
	TLS *tls.Config
	// Timeouts; zero takes those of RFC 5321 4.5.3.2.
	DialTimeout   time.Duration // 1 minute
	ReplyTimeout  time.Duration // each reply: 5 minutes
	WriteTimeout  time.Duration // each block written: 3 minutes
	AcceptTimeout time.Duration // reply after the last line: 10 minutes
	// StopTimeout is how long the reply to a message that went out whole is waited
	// for once the program is told to stop; zero takes 8 seconds, below what a
	// service manager gives (systemd: TimeoutStopSec).
	StopTimeout time.Duration
}

// Secret is text that no log, error or JSON shows.
type Secret string

// String hides the secret.
func (s Secret) String() string { return "(hidden)" }

// GoString hides the secret from %#v.
func (s Secret) GoString() string { return "(hidden)" }

// LogValue hides the secret from slog.
func (s Secret) LogValue() slog.Value { return slog.StringValue("(hidden)") }

// MarshalText hides the secret from encoders.
func (s Secret) MarshalText() ([]byte, error) { return []byte("(hidden)"), nil }

// Relay is a transport to one mail relay over SMTP. It keeps its session open
// from one message to the next until [Relay.End]. It may be used by several
// goroutines, whose messages then go one after the other.
type Relay struct {
	o    RelayOptions
	host string

	mu    sync.Mutex
	open  *session // nil where none is open
	last  time.Time
	ready bool // the next message has waited for its turn
}

// NewRelay checks the options. A login without TLS is refused.
func NewRelay(o RelayOptions) (*Relay, error) {
	var p problems
	host, port, err := net.SplitHostPort(o.Address)
	if err != nil || host == "" || port == "" {
		p.add(invalid("relay address", o.Address, "host:port, such as mail.workshop.example:587"))
	}
	if ascii, err := idna.Lookup.ToASCII(o.HelloName); err != nil || ascii != o.HelloName || !strings.Contains(o.HelloName, ".") {
		p.add(invalid("relay hello name", o.HelloName, "this computer's full name as the relay may see it, such as fillmark.workshop.example"))
	}
	switch o.Security {
	case StartTLS, ImplicitTLS:
	case Plain:
		if o.Username != "" {
			p.add(invalid("relay security", string(o.Security), "starttls or tls: a login must not cross the line in the clear"))
		}
	default:
		p.add(invalid("relay security", string(o.Security), "none, starttls or tls"))
	}
	if o.PerMinute < 0 || o.PerMinute > 60_000 {
		p.add(invalid("relay rate", fmt.Sprint(o.PerMinute), "0 to 60000 messages a minute, 0 for no bound"))
	}
	if (o.Username == "") != (o.Password == "" && o.Tokens == nil) {
		p.add(invalid("relay login", o.Username, "a user name and a password or OAuth 2.0, or none of them"))
	}
	if err := errors.Join(p...); err != nil {
		return nil, err
	}
	for _, t := range []struct {
		timeout  *time.Duration
		standard time.Duration
	}{
		{&o.DialTimeout, time.Minute}, {&o.ReplyTimeout, 5 * time.Minute},
		{&o.WriteTimeout, 3 * time.Minute}, {&o.AcceptTimeout, 10 * time.Minute},
		{&o.StopTimeout, 8 * time.Second},
	} {
		if *t.timeout <= 0 {
			*t.timeout = t.standard
		}
	}
	return &Relay{o: o, host: host}, nil
}

// Send hands one message over and returns nil once the relay has accepted it.
// Any other outcome is a [SendError]; where the last reply was lost the relay
// may have the message all the same. Cancelling ctx cuts the line, but a message
// that went out whole is left StopTimeout for its reply: without it, a copy more
// would leave.
func (r *Relay) Send(ctx context.Context, env Envelope, raw []byte) error {
	for _, a := range []struct{ field, address string }{{"envelope from", env.From}, {"envelope to", env.To}} {
		if ascii, err := asciiAddress(a.field, a.address); err != nil || ascii != a.address {
			return &SendError{Err: errors.Join(err, invalid(a.field, a.address, "a bare address in ASCII"))}
		}
	}
	if err := checkWire(raw); err != nil {
		return &SendError{Err: fmt.Errorf("smtp: %w", err)}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.prepare(ctx); err != nil {
		return classify(stageSession, err)
	}
	r.ready = false
	again := !r.open.used.IsZero()
	at, err := r.attempt(ctx, env, raw)
	if again && at == stageMail && lineCut(err) {
		// The relay closed a session that had served before; no word about
		// this message was said yet, so a fresh one may have it.
		at, err = r.attempt(ctx, env, raw)
	}
	if err != nil {
		return classify(at, err)
	}
	return nil
}

// Open waits until the next message may go and opens a line for it, so that
// nothing stands between what was decided about a message and its first byte.
func (r *Relay) Open(ctx context.Context) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if err := r.prepare(ctx); err != nil {
		return classify(stageSession, err)
	}
	return nil
}

// prepare is what comes before a message.
func (r *Relay) prepare(ctx context.Context) error {
	if !r.ready {
		if err := r.pace(ctx); err != nil {
			return err
		}
		r.ready = true
	}
	if r.open != nil && !r.open.used.IsZero() && time.Since(r.open.used) > maxIdle {
		r.hangUp()
	}
	if r.open != nil {
		return nil
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	opened, err := r.dial(ctx)
	if err == nil {
		r.open = opened
	}
	return err
}

// End says goodbye and closes the session that [Relay.Send] kept open.
func (r *Relay) End() {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.ready = false
	r.hangUp()
}

// pace waits until the next message may go.
func (r *Relay) pace(ctx context.Context) error {
	if r.o.PerMinute > 0 {
		wait := time.Until(r.last.Add(time.Minute / time.Duration(r.o.PerMinute)))
		timer := time.NewTimer(wait)
		defer timer.Stop()
		select {
		case <-timer.C:
		case <-ctx.Done():
		}
	}
	r.last = time.Now()
	return ctx.Err()
}

// transact offers the message, and calls whole before the line that ends it.
func transact(client *smtp.Client, env Envelope, raw []byte, whole func()) (stage, error) {
	if err := client.Mail(env.From, &smtp.MailOptions{Size: int64(len(raw))}); err != nil {
		return stageMail, err
	}
	if err := client.Rcpt(env.To, nil); err != nil {
		return stageRcpt, err
	}
	data, err := client.Data()
	if err != nil {
		return stageData, err
	}
	if _, err := bytes.NewReader(raw).WriteTo(data); err != nil {
		return stageData, err
	}
	whole()
	_, err = data.CloseWithResponse()
	return stageData, err
}

func (r *Relay) logIn(ctx context.Context, client *smtp.Client) error {
	if err := client.Hello(r.o.HelloName); err != nil {
		return err
	}
	if r.o.Username == "" {
		return nil
	}
	if r.o.Tokens != nil {
		return r.logInByToken(ctx, client)
	}
	if !client.SupportsAuth(sasl.Plain) {
		return errors.New("the relay offers no login by PLAIN")
	}
	return client.Auth(sasl.NewPlainClient("", r.o.Username, string(r.o.Password)))
}

// logInByToken shows an access token. One that is refused is not shown again.
func (r *Relay) logInByToken(ctx context.Context, client *smtp.Client) error {
	token, err := r.o.Tokens.Token(ctx)
	if err != nil {
		return err
	}
	_, port, err := net.SplitHostPort(r.o.Address)
	if err != nil {
		return err
	}
	number, err := strconv.Atoi(port)
	if err != nil {
		number = 0 // by name; RFC 7628 does without
	}
	with, err := login.Client(client.SupportsAuth, r.o.Username, token, r.host, number)
	if err != nil {
		return err
	}
	if err := client.Auth(with); err != nil {
		r.o.Tokens.Refused()
		return err
	}
	return nil
}
