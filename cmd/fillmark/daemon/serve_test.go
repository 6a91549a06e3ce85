// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"context"
	"image"
	"image/png"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/workshop"
	"fillmark/loops"
	"fillmark/notify/links"
)

// testNow is the time in tests that need one: always the same.
func testNow() time.Time { return time.Date(2026, time.November, 28, 12, 0, 0, 0, time.UTC) }

// A request under way is answered to its end while the daemon stops.
func TestStoppingLetsARequestFinish(t *testing.T) {
	t.Parallel()
	began, finish := make(chan struct{}), make(chan struct{})
	slow := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		close(began)
		<-finish
		_, _ = w.Write([]byte("done"))
	})
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store, c.Listen = filepath.Join(folder, "register.db"), "127.0.0.1:0"
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	h.Handler = slow
	pages, err := BindPages(c.Listen)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	addresses, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- h.Serve(ctx, c, pages, testNow, slog.New(slog.DiscardHandler), func(address string) error { addresses <- address; return nil })
	}()
	address := <-addresses
	type answer struct {
		body string
		err  error
	}
	answers := make(chan answer, 1)
	go func() {
		r, err := http.Get(address + "/")
		if err != nil {
			answers <- answer{"", err}
			return
		}
		body, err := io.ReadAll(r.Body)
		_ = r.Body.Close() // read to its end
		answers <- answer{string(body), err}
	}()
	<-began
	stop()
	assert.Eventually(t, func() bool {
		conn, err := net.Dial("tcp", strings.TrimPrefix(address, "http://"))
		if err == nil {
			_ = conn.Close() // only asked whether somebody answers
		}
		return err != nil
	}, 5*time.Second, 5*time.Millisecond, "new requests are not taken any more")
	select {
	case err := <-ended:
		t.Fatalf("the daemon ended before its request: %v", err)
	default:
	}
	close(finish)
	got := <-answers
	require.NoError(t, got.err)
	assert.Equal(t, "done", got.body)
	require.NoError(t, <-ended)
	require.NoError(t, h.Close())
}

// Somebody who sends a byte now and then holds a connection no longer than the
// limit, and changes nothing.
func TestSlowBodiesAreCutOff(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store = filepath.Join(folder, "register.db")
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	server := newServer(h.Handler, slog.New(slog.DiscardHandler))
	require.NotZero(t, server.ReadTimeout)
	require.NotZero(t, server.ReadHeaderTimeout)
	require.NotZero(t, server.WriteTimeout)
	server.ReadTimeout, server.ReadHeaderTimeout = 200*time.Millisecond, 200*time.Millisecond
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() { ended <- serveHTTP(server, l) }()
	for name, begin := range map[string]string{
		"headers": "POST /api/v1/owners HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Ty",
		"body": "POST /api/v1/owners HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\nContent-Length: 30\r\n\r\n" +
			`{"name":`,
	} {
		conn, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		_, err = io.WriteString(conn, begin)
		require.NoError(t, err)
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(20*time.Second)))
		said, err := io.ReadAll(conn) // returns when the server closes
		require.NoError(t, err, name)
		assert.NotContains(t, string(said), "200 OK", name)
		require.NoError(t, conn.Close())
	}
	require.NoError(t, server.Shutdown(t.Context()))
	require.NoError(t, <-ended)
	for owner := range h.Store.Owners() {
		assert.Fail(t, "an owner was recorded", owner.Name)
	}
}

// A photo over a phone's weak line takes longer than the server gives a request, and
// comes in all the same.
func TestSlowPhotosComeIn(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store, c.OpenBench = filepath.Join(folder, "register.db"), true
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.Close()) }()
	owner, err := h.Workshop.AddOwner(workshop.Stamp{At: testNow(), By: "local:test"}, loops.Owner{Name: "Ana Ruizado"})
	require.NoError(t, err)
	server := newServer(h.Handler, slog.New(slog.DiscardHandler))
	server.ReadTimeout, server.WriteTimeout = 300*time.Millisecond, 300*time.Millisecond
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ended := make(chan error, 1)
	go func() { ended <- serveHTTP(server, l) }()
	var picture bytes.Buffer
	require.NoError(t, png.Encode(&picture, image.NewGray(image.Rect(0, 0, 20, 20))))
	form := "--b\r\nContent-Disposition: form-data; name=answer\r\n\r\noff\r\n--b\r\nContent-Disposition: form-data; name=photo; filename=a.png\r\n\r\n" +
		picture.String() + "\r\n--b--\r\n"
	link := "/o/" + linkKeys(t, c).Sign(links.Owner, owner, testNow().AddDate(0, 1, 0))
	for _, tt := range []struct{ name, path, kind, body, want string }{
		{"the bench's", "/api/v1/photos", "image/png", picture.String(), "HTTP/1.1 200 OK"},
		{"an owner's", link, "multipart/form-data; boundary=b", form, "HTTP/1.1 303 See Other"},
	} {
		conn, err := net.Dial("tcp", l.Addr().String())
		require.NoError(t, err)
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(20*time.Second)))
		head := "POST " + tt.path + " HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\nContent-Type: " + tt.kind + "\r\nContent-Length: " + strconv.Itoa(len(tt.body)) + "\r\n\r\n"
		_, err = io.WriteString(conn, head+tt.body[:20])
		require.NoError(t, err)
		<-time.After(time.Second) // the line is slow
		_, err = io.WriteString(conn, tt.body[20:])
		require.NoError(t, err, tt.name)
		said, err := io.ReadAll(conn)
		require.NoError(t, err, tt.name)
		assert.Contains(t, string(said), tt.want, tt.name)
		require.NoError(t, conn.Close())
	}
	require.NoError(t, server.Shutdown(t.Context()))
	require.NoError(t, <-ended)
}

func TestServerLogNamesNoPeer(t *testing.T) {
	t.Parallel()
	for line, want := range map[string]string{
		"http: TLS handshake error from 192.0.2.7:4711: EOF":    "http: TLS handshake error from somebody: EOF",
		"http: panic serving [2001:db8::1]:4711: runtime error": "http: panic serving somebody: runtime error",
		"http: Accept error: too many open files":               "http: Accept error: too many open files",
	} {
		assert.Equal(t, want, string(withoutPeer([]byte(line))))
	}
}

func TestSocketIsForItsOwnerOnly(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "fillmark.sock")
	l, err := listenSocket(path)
	require.NoError(t, err)
	defer func() { require.NoError(t, l.Close()) }()
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}
