// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package notify

import (
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/textproto"
	"strings"
	"time"

	"github.com/emersion/go-smtp"
)

// timedConn gives every write its own deadline: go-smtp sets none while it
// writes the body, and a relay that stops reading would hold us for ever.
type timedConn struct {
	net.Conn
	write time.Duration
}

// Write writes within the deadline.
func (c *timedConn) Write(p []byte) (int, error) {
	if err := c.SetWriteDeadline(time.Now().Add(c.write)); err != nil {
		return 0, err
	}
	return c.Conn.Write(p)
}

func (r *Relay) handshake(ctx context.Context, conn net.Conn) (net.Conn, error) {
	config := &tls.Config{}
	if r.o.TLS != nil {
		config = r.o.TLS.Clone()
	}
	if config.ServerName == "" {
		config.ServerName = r.host
	}
	config.MinVersion = max(config.MinVersion, tls.VersionTLS12)
	line := tls.Client(conn, config)
	ctx, cancel := context.WithTimeout(ctx, r.o.ReplyTimeout)
	defer cancel()
	return line, line.HandshakeContext(ctx)
}

// startTLS speaks the clear part of the conversation itself, because go-smtp
// would say EHLO localhost there, which strict relays refuse. The connection it
// returns begins with a greeting, as go-smtp expects one.
func (r *Relay) startTLS(ctx context.Context, conn net.Conn) (net.Conn, error) {
	if err := conn.SetReadDeadline(time.Now().Add(r.o.ReplyTimeout)); err != nil {
		return nil, err
	}
	text := textproto.NewConn(struct {
		io.Reader
		io.Writer
		io.Closer
	}{io.LimitReader(conn, 64<<10), conn, conn})
	if _, _, err := text.ReadResponse(220); err != nil {
		return nil, asReply(err)
	}
	offered, err := ask(text, 250, "EHLO "+r.o.HelloName)
	if err != nil {
		return nil, err
	}
	if !offersStartTLS(offered) {
		return nil, errors.New("the relay offers no STARTTLS")
	}
	if _, err := ask(text, 220, "STARTTLS"); err != nil {
		return nil, err
	}
	// What stands in the buffer came in the clear and must not count as said
	// under TLS (the injection of CVE-2011-0411).
	if text.R.Buffered() > 0 {
		return nil, errors.New("the relay, or somebody between, sent more after STARTTLS in the clear")
	}
	if err := conn.SetReadDeadline(time.Time{}); err != nil {
		return nil, err
	}
	line, err := r.handshake(ctx, conn)
	if err != nil {
		return nil, err
	}
	return &greeted{Conn: line, greeting: strings.NewReader("220 tls\r\n")}, nil
}

func ask(text *textproto.Conn, code int, command string) (string, error) {
	if err := text.PrintfLine("%s", command); err != nil {
		return "", err
	}
	_, msg, err := text.ReadResponse(code)
	return msg, asReply(err)
}

// asReply turns a refusal into go-smtp's type, so that there is one to classify.
func asReply(err error) error {
	var reply *textproto.Error
	if errors.As(err, &reply) {
		return &smtp.SMTPError{Code: reply.Code, EnhancedCode: smtp.EnhancedCodeNotSet, Message: reply.Msg}
	}
	return err
}

func offersStartTLS(extensions string) bool {
	for line := range strings.SplitSeq(extensions, "\n") {
		if strings.EqualFold(strings.TrimSpace(line), "STARTTLS") {
			return true
		}
	}
	return false
}

// greeted is a connection that first reads as the greeting and then as itself.
type greeted struct {
	net.Conn
	greeting *strings.Reader
}

// Read reads the greeting, then the connection.
func (g *greeted) Read(p []byte) (int, error) {
	if g.greeting.Len() > 0 {
		return g.greeting.Read(p)
	}
	return g.Conn.Read(p)
}
