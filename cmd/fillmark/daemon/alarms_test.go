// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"context"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify"
)

// told is a request that a server got.
type told struct {
	header http.Header
	body   []byte
}

// A register that is removed under the daemon: no write is acknowledged, one
// line in the log says why, and somebody is told by the webhook, signed.
func TestARegisterThatIsGoneIsTold(t *testing.T) {
	t.Parallel()
	const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
	got := make(chan told, 10)
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err == nil {
			got <- told{r.Header, body}
		}
	}))
	defer server.Close()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store = filepath.Join(folder, "register.db")
	c.Alarm.Webhook.URL, c.Alarm.Webhook.SecretFile = server.URL, filepath.Join(folder, "secret")
	require.NoError(t, os.WriteFile(c.Alarm.Webhook.SecretFile, []byte(secret+"\n"), 0o600))
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	require.NoError(t, h.Alarms.Tell(t.Context(), testNow()))
	assert.Contains(t, string((<-got).body), `"hello":true`)

	require.NoError(t, os.Remove(c.Store))
	_, err = h.Workshop.AddOwner(workshop.Stamp{At: testNow(), By: "test"}, loops.Owner{Name: "Ana"})
	require.ErrorIs(t, err, loops.ErrGone)
	var said bytes.Buffer
	h.sweepAndDeliver(t.Context(), slog.New(slog.NewTextHandler(&said, nil)), testNow())
	assert.Equal(t, 1, strings.Count(said.String(), "level=ERROR"), said.String())
	assert.Contains(t, said.String(), "removed or replaced")
	answer := httptest.NewRecorder()
	h.Handler.ServeHTTP(answer, httptest.NewRequest(http.MethodGet, "http://127.0.0.1:8377/readyz", nil))
	assert.Equal(t, http.StatusServiceUnavailable, answer.Code)
	assert.Contains(t, answer.Body.String(), "register: Nothing can be recorded")
	assert.Contains(t, answer.Body.String(), "fillmark backup --to FOLDER")
	assert.Equal(t, 1, strings.Count(answer.Body.String(), "can be recorded"), "it is said once")
	assert.NotContains(t, answer.Body.String(), "sweep: ")
	red := h.Alarms.Red(testNow())
	require.Len(t, red, 1)
	assert.Equal(t, "register", red[0].Name)

	require.ErrorIs(t, h.Alarms.Tell(t.Context(), testNow().Add(time.Hour)), loops.ErrGone, "it cannot be put down, and is told all the same")
	alarm := <-got
	check, err := standardwebhooks.NewWebhook(secret)
	require.NoError(t, err)
	require.NoError(t, check.VerifyIgnoringTimestamp(alarm.body, alarm.header))
	assert.Contains(t, string(alarm.body), `"name":"register"`)
	require.ErrorIs(t, h.Alarms.Tell(t.Context(), testNow().Add(2*time.Hour)), loops.ErrGone)
	assert.Empty(t, got, "once is enough")
}

// What was told of mail is not over because the register cannot be read.
func TestMailIsNotWellWhereTheRegisterIsUnread(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, h.Store.Close())
	told := map[string]string{}
	for _, source := range h.houseSources() {
		reason, remedy := source.Check(testNow())
		assert.Equal(t, reason != "", remedy != "", source.Name)
		told[source.Name] = reason
	}
	assert.Contains(t, told["mail"], "The outbox cannot be read: ")
	assert.Empty(t, told["canary"], "none is sent here")
}

// systemd is told when the program is ready, that it lives while its loop does,
// and that it stops. Not parallel: the protocol is in the environment.
func TestSystemdIsTold(t *testing.T) {
	folder, err := os.MkdirTemp("", "fm") // a socket's path is short
	require.NoError(t, err)
	defer func() { assert.NoError(t, os.RemoveAll(folder)) }()
	at := filepath.Join(folder, "n")
	l, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: at, Net: "unixgram"})
	require.NoError(t, err)
	defer func() { assert.NoError(t, l.Close()) }()
	t.Setenv("NOTIFY_SOCKET", at)
	t.Setenv("WATCHDOG_USEC", "60000")
	t.Setenv("WATCHDOG_PID", "")
	said := make(chan string, 1000)
	go func() {
		defer close(said)
		for buf := make([]byte, 1000); ; {
			n, err := l.Read(buf)
			if err != nil {
				return
			}
			said <- string(buf[:n])
		}
	}()
	await := func(want string) {
		t.Helper()
		for got := range said {
			if got == want {
				return
			}
		}
		t.Fatalf("never said: %s", want)
	}
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store, c.Listen = filepath.Join(folder, "r.db"), "127.0.0.1:0"
	quiet := slog.New(slog.DiscardHandler)
	h, err := Open(c, testNow, quiet)
	require.NoError(t, err)
	pages, err := BindPages(c.Listen)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- h.Serve(ctx, c, pages, testNow, quiet, func(string) error { return nil }) }()
	await("READY=1")
	await("WATCHDOG=1")
	await("WATCHDOG=1")
	stop()
	await("STOPPING=1")
	require.NoError(t, <-ended)
	require.NoError(t, h.Close())
}

// The keep-alive is the loop's own: it ends when the loop stands still, is said
// once, and comes back with it.
func TestTheKeepAliveEndsWithTheLoop(t *testing.T) {
	t.Parallel()
	var loop heart
	ticks, events := make(chan time.Time), make(chan string, 10)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() {
		defer close(done)
		loop.keepAlive(ctx, ticks, time.Minute, 3*time.Minute, func() { events <- "alive" }, func() { events <- "silent" })
	}()
	for minute, want := range []string{"alive", "alive", "silent", "beat", "alive", "alive", "alive", "silent"} {
		if want == "beat" {
			loop.beat()
			continue
		}
		ticks <- time.Time{}
		assert.Equal(t, want, <-events, "minute %d", minute)
	}
	ticks <- time.Time{}
	ticks <- time.Time{}
	stop()
	<-done
	assert.Empty(t, events, "silence is said once")
}

// Each step of a conversation with the relay is a sign of life.
func TestADeliveryIsNoStandstill(t *testing.T) {
	t.Parallel()
	var loop heart
	way := beating{notify.Maildir{Dir: t.TempDir()}, &loop}
	require.NoError(t, way.Open(t.Context()))
	require.NoError(t, way.Send(t.Context(), notify.Envelope{From: "a@x.example", To: "b@x.example"}, []byte("Date: Sun, 29 Nov 2026 12:00:00 +0000\r\nMessage-ID: <x@x.example>\r\nSubject: x\r\n\r\nx\r\n")))
	assert.Equal(t, uint64(2), loop.beats.Load())
}
