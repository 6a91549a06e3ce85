// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"context"
	"errors"
	"net"
	"time"

	"github.com/emersion/go-smtp"
)

// session is one line to the relay, greeted and logged in.
type session struct {
	client *smtp.Client
	conn   net.Conn
	sent   int
	used   time.Time
}

const (
	// maxIdle is how old an idle session may be to be used again: below the five
	// minutes that RFC 5321 4.5.3.2.7 has a server wait.
	maxIdle = time.Minute
	// maxPerSession bounds the messages of one session; relays close at some
	// number of their own.
	maxPerSession = 100
	// goodbye is how long a relay gets to answer QUIT.
	goodbye = 5 * time.Second
)

// attempt offers the message over the open session, or a new one, and keeps the
// session where it can serve again.
func (r *Relay) attempt(ctx context.Context, env Envelope, raw []byte) (stage, error) {
	if err := ctx.Err(); err != nil {
		return stageSession, err
	}
	if r.open == nil {
		opened, err := r.dial(ctx)
		if err != nil {
			return stageSession, err
		}
		r.open = opened
	}
	s := r.open
	// go-smtp knows no context: the end of ctx closes the line under it, at once
	// or, where only the reply is due, a while later.
	cut := func() { _ = s.conn.Close() }
	stop := context.AfterFunc(ctx, cut)
	at, err := transact(s.client, env, raw, func() {
		if stop() {
			stop = context.AfterFunc(ctx, func() { time.AfterFunc(r.o.StopTimeout, cut) })
		}
	})
	if !stop() {
		r.drop()
		return at, err
	}
	s.used = time.Now()
	switch {
	case err == nil:
		// Accepted: how the goodbye goes changes nothing.
		if s.sent++; s.sent >= maxPerSession {
			r.hangUp()
		}
	case lineCut(err), s.client.Reset() != nil:
		r.drop()
	}
	return at, err
}

// lineCut tells whether the session is over: no reply, or one that says so.
func lineCut(err error) bool {
	var reply *smtp.SMTPError
	return err != nil && (!errors.As(err, &reply) || reply.Code == 421)
}

// dial opens a line and goes as far as the login.
func (r *Relay) dial(ctx context.Context) (*session, error) {
	dialer := net.Dialer{Timeout: r.o.DialTimeout}
	conn, err := dialer.DialContext(ctx, "tcp", r.o.Address)
	if err != nil {
		return nil, err
	}
	conn = &timedConn{Conn: conn, write: r.o.WriteTimeout}
	stop := context.AfterFunc(ctx, func() { _ = conn.Close() })
	defer stop()
	line := conn
	switch r.o.Security {
	case StartTLS:
		line, err = r.startTLS(ctx, conn)
	case ImplicitTLS:
		line, err = r.handshake(ctx, conn)
	}
	if err != nil {
		_ = conn.Close()
		return nil, err
	}
	client := smtp.NewClient(line)
	client.CommandTimeout, client.SubmissionTimeout = r.o.ReplyTimeout, r.o.AcceptTimeout
	if err := r.logIn(ctx, client); err != nil {
		_ = conn.Close()
		return nil, err
	}
	return &session{client: client, conn: conn}, nil
}

// hangUp ends the session as one should.
func (r *Relay) hangUp() {
	if r.open == nil {
		return
	}
	r.open.client.CommandTimeout = goodbye
	_ = r.open.client.Quit()
	r.drop()
}

// drop closes the line.
func (r *Relay) drop() {
	if r.open != nil {
		_ = r.open.conn.Close()
		r.open = nil
	}
}
