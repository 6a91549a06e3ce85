// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net"
	"net/http"
	"os/user"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
)

// client sends the one request a command consists of to the shared handler:
// to the daemon over its socket where one answers, else in process.
type client struct {
	http  http.Client
	close func() error
	// begin makes the register where none is yet; nil where there is one.
	begin func() error
	// missing says that there is none.
	missing error
}

// connect finds the daemon or opens the register itself.
func (a *app) connect(ctx context.Context, c daemon.Config) (*client, error) {
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) { return c.Dial(ctx) }
	conn, err := c.Dial(ctx)
	if errors.Is(err, daemon.ErrStranger) {
		return nil, err
	}
	if err == nil {
		_ = conn.Close() // only asked whether somebody answers
		transport := &http.Transport{DialContext: dial}
		return &client{http: http.Client{Transport: transport}, close: func() error { transport.CloseIdleConnections(); return nil }}, nil
	}
	inProcess := &client{close: func() error { return nil }}
	open := func() error {
		service, err := daemon.OpenAny(c, a.now, slog.New(slog.DiscardHandler))
		if err != nil {
			return err
		}
		actor := localActor(a.env)
		transport, end := serveInProcess(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			service.Handler.ServeHTTP(w, r.WithContext(web.WithActor(r.Context(), actor)))
		}))
		inProcess.http.Transport, inProcess.begin = transport, nil
		inProcess.close = func() error { return errors.Join(end(), service.Close()) }
		return nil
	}
	there, err := c.RegisterThere()
	if err != nil {
		return nil, err
	}
	if !there {
		inProcess.begin, inProcess.missing = open, noRegister(c)
		return inProcess, nil
	}
	return inProcess, open()
}

// noRegister says that there is no register where the configuration has it.
func noRegister(c daemon.Config) error {
	return fmt.Errorf("register %s: %w; the first record that is added makes one, --store names another", c.Store, loops.ErrNotFound)
}

// content is the body of a request and what it is.
type content struct {
	kind string
	body io.Reader
}

// send makes one request; a refusal comes back as the error that caused it.
// Whoever only reads makes no register: it would be empty and look sound.
func (c *client) send(ctx context.Context, method, path string, sent content) (*http.Response, error) {
	if c.begin != nil {
		if method == http.MethodGet {
			return nil, c.missing
		}
		if err := c.begin(); err != nil {
			return nil, err
		}
	}
	request, err := http.NewRequestWithContext(ctx, method, "http://127.0.0.1"+path, sent.body)
	if err != nil {
		return nil, err
	}
	if sent.kind != "" {
		request.Header.Set("Content-Type", sent.kind)
	}
	response, err := c.http.Do(request)
	switch {
	case err != nil && ctx.Err() != nil:
		return nil, err
	case err != nil:
		return nil, fmt.Errorf("the daemon stopped before it answered; look whether it is on record before you enter it again (%w)", err)
	}
	if response.StatusCode == http.StatusOK {
		return response, nil
	}
	defer response.Body.Close()
	var failure web.Failure
	if err := json.NewDecoder(response.Body).Decode(&failure); err != nil {
		return nil, fmt.Errorf("the daemon answered %d", response.StatusCode)
	}
	return nil, failure.Err()
}

// call sends body as JSON (nothing where nil) and decodes the answer.
func call[T any](ctx context.Context, c *client, method, path string, body any) (T, error) {
	var answer T
	var sent content
	if body != nil {
		raw, err := json.Marshal(body)
		if err != nil {
			return answer, fmt.Errorf("%s: %w", path, err)
		}
		sent = content{"application/json", bytes.NewReader(raw)}
	}
	return decoded[T](c.send(ctx, method, path, sent))
}

func decoded[T any](response *http.Response, err error) (T, error) {
	var answer T
	if err != nil {
		return answer, err
	}
	defer response.Body.Close()
	if err := json.NewDecoder(response.Body).Decode(&answer); err != nil {
		return answer, fmt.Errorf("the daemon's answer cannot be read: %w", err)
	}
	return answer, nil
}

// with lends a client to fn: configure, connect, close.
func (a *app) with(ctx context.Context, fn func(*client) error) (err error) {
	c, err := a.config()
	if err != nil {
		return err
	}
	return a.withRegister(ctx, c, fn)
}

// withRegister is [app.with] for a register that the configuration may not name.
func (a *app) withRegister(ctx context.Context, c daemon.Config, fn func(*client) error) (err error) {
	client, err := a.connect(ctx, c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, client.close()) }()
	return fn(client)
}

// ask is the whole life of a register command that makes one request.
func ask[T any](ctx context.Context, a *app, method, path string, body any) (answer T, err error) {
	err = a.with(ctx, func(c *client) error {
		answer, err = call[T](ctx, c, method, path, body)
		return err
	})
	return answer, err
}

// tell is a register command that makes one request and says what came of it.
func tell[T any](ctx context.Context, a *app, method, path string, body any, say func(*printer, T)) error {
	answer, err := ask[T](ctx, a, method, path, body)
	if err != nil {
		return err
	}
	return a.print(answer, func(p *printer) { say(p, answer) })
}

// download copies the body of an answer to out.
func (a *app) download(ctx context.Context, path string, out io.Writer) error {
	return a.with(ctx, func(c *client) error {
		response, err := c.send(ctx, "GET", path, content{})
		if err != nil {
			return err
		}
		defer response.Body.Close()
		_, err = io.Copy(out, response.Body)
		return err
	})
}

// pipes is a listener of which only this process knows.
type pipes struct {
	dialled chan net.Conn
	done    chan struct{} // closed when no more are taken
}

func (p pipes) Addr() net.Addr { return &net.UnixAddr{Net: "pipe"} }
func (p pipes) Close() error   { return nil } // whoever dials is the one who closes the server

func (p pipes) Accept() (net.Conn, error) {
	select {
	case conn := <-p.dialled:
		return conn, nil
	case <-p.done:
		return nil, net.ErrClosed
	}
}

func (p pipes) dial(ctx context.Context, _, _ string) (net.Conn, error) {
	ours, theirs := net.Pipe()
	select {
	case p.dialled <- theirs:
		return ours, nil
	case <-p.done: // the command was stopped meanwhile
		return nil, net.ErrClosed
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// serveInProcess answers as the daemon does, until it is closed: then every
// handler has returned, and the register under it can be closed too.
func serveInProcess(h http.Handler) (to *http.Transport, end func() error) {
	listening := pipes{make(chan net.Conn), make(chan struct{})}
	server := &http.Server{Handler: h, ErrorLog: log.New(io.Discard, "", 0)}
	go func() { _ = server.Serve(listening) }() // ends with Accept
	return &http.Transport{DialContext: listening.dial, DisableKeepAlives: true, DisableCompression: true}, func() error {
		close(listening.done)
		return server.Shutdown(context.Background())
	}
}

// localActor names who runs a command, as the register records it.
func localActor(env map[string]string) string {
	if u, err := user.Current(); err == nil {
		return "local:" + u.Username
	}
	return "local:" + env["USER"]
}
