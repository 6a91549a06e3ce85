// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"

	"fillmark/cmd/fillmark/web"
)

// client sends the one request a command consists of to the shared handler:
// to the daemon over its socket where one answers, else in process.
type client struct {
	http  http.Client
	close func() error
}

// connect finds the daemon or opens the register itself.
func (a *app) connect(ctx context.Context, c config) (*client, error) {
	dial := func(ctx context.Context, _, _ string) (net.Conn, error) {
		var d net.Dialer
		return d.DialContext(ctx, "unix", c.socket())
	}
	if conn, err := dial(ctx, "", ""); err == nil {
		_ = conn.Close() // only asked whether somebody answers
		transport := &http.Transport{DialContext: dial}
		return &client{http: http.Client{Transport: transport}, close: func() error { transport.CloseIdleConnections(); return nil }}, nil
	}
	house, err := a.openHouse(c)
	if err != nil {
		return nil, err
	}
	actor := localActor(a.env)
	inProcess := roundTripper(func(r *http.Request) (*http.Response, error) {
		answer := &answerBuffer{header: http.Header{}, status: http.StatusOK}
		house.handler.ServeHTTP(answer, r.WithContext(web.WithActor(r.Context(), actor)))
		return &http.Response{
			Status: http.StatusText(answer.status), StatusCode: answer.status, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1,
			Header: answer.header, Body: io.NopCloser(&answer.body), ContentLength: int64(answer.body.Len()), Request: r,
		}, nil
	})
	return &client{http: http.Client{Transport: inProcess}, close: house.close}, nil
}

// call sends body as JSON (nothing where nil) and decodes the answer.
func call[T any](ctx context.Context, c *client, method, path string, body any) (T, error) {
	if body == nil {
		return send[T](ctx, c, method, path, "", nil)
	}
	raw, err := json.Marshal(body)
	if err != nil {
		var none T
		return none, fmt.Errorf("%s: %w", path, err)
	}
	return send[T](ctx, c, method, path, "application/json", raw)
}

// send sends a body of a type, or none where the type is empty, and decodes the
// answer.
func send[T any](ctx context.Context, c *client, method, path, kind string, body []byte) (T, error) {
	var answer T
	request, err := http.NewRequestWithContext(ctx, method, "http://127.0.0.1"+path, bytes.NewReader(body))
	if err != nil {
		return answer, err
	}
	if kind != "" {
		request.Header.Set("Content-Type", kind)
	}
	response, err := c.http.Do(request)
	if err != nil {
		return answer, err
	}
	defer response.Body.Close()
	if response.StatusCode != http.StatusOK {
		var failure web.Failure
		if err := json.NewDecoder(response.Body).Decode(&failure); err != nil {
			return answer, fmt.Errorf("the daemon answered %d", response.StatusCode)
		}
		return answer, failure.Err()
	}
	if err := json.NewDecoder(response.Body).Decode(&answer); err != nil {
		return answer, fmt.Errorf("the daemon's answer cannot be read: %w", err)
	}
	return answer, nil
}

// ask is the whole life of a register command: configure, connect, one
// request, close.
func ask[T any](ctx context.Context, a *app, method, path string, body any) (T, error) {
	return converse(ctx, a, func(c *client) (T, error) { return call[T](ctx, c, method, path, body) })
}

// askRaw posts a body that is no JSON.
func askRaw[T any](ctx context.Context, a *app, path, kind string, body []byte) (T, error) {
	return converse(ctx, a, func(c *client) (T, error) { return send[T](ctx, c, "POST", path, kind, body) })
}

func converse[T any](ctx context.Context, a *app, talk func(*client) (T, error)) (answer T, err error) {
	c, err := a.config()
	if err != nil {
		return answer, err
	}
	client, err := a.connect(ctx, c)
	if err != nil {
		return answer, err
	}
	defer func() { err = errors.Join(err, client.close()) }()
	return talk(client)
}

type roundTripper func(*http.Request) (*http.Response, error)

func (f roundTripper) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

// answerBuffer is the response of a handler called in process.
type answerBuffer struct {
	header http.Header
	status int
	body   bytes.Buffer
}

func (b *answerBuffer) Header() http.Header         { return b.header }
func (b *answerBuffer) WriteHeader(status int)      { b.status = status }
func (b *answerBuffer) Write(p []byte) (int, error) { return b.body.Write(p) }
