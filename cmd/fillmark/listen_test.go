// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const testPassword = "copper plate wet felt"

// runWith is [runHere] with standard input and more of the environment.
func runWith(t *testing.T, folder, in string, env []string, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	env = append([]string{"HOME=" + folder, "FILLMARK_STORE=" + filepath.Join(folder, "register.db")}, env...)
	code = run(t.Context(), args, env, strings.NewReader(in), &o, &e)
	return code, o.String(), e.String()
}

// certificate writes a self-signed certificate for loopback and its key.
func certificate(t *testing.T, folder string) (cert, key string, roots *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{
		SerialNumber: big.NewInt(1), NotBefore: time.Date(2001, time.January, 1, 0, 0, 0, 0, time.UTC), NotAfter: time.Date(2099, time.January, 1, 0, 0, 0, 0, time.UTC),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, private.Public(), private)
	require.NoError(t, err)
	privateDER, err := x509.MarshalPKCS8PrivateKey(private)
	require.NoError(t, err)
	cert, key = filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	certPEM := pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})
	require.NoError(t, os.WriteFile(cert, certPEM, 0o600))
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: privateDER}), 0o600))
	roots = x509.NewCertPool()
	require.True(t, roots.AppendCertsFromPEM(certPEM))
	return cert, key, roots
}

func TestServeBeyondLoopbackTakesAPasswordAndTLSOrAProxy(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	cert, key, _ := certificate(t, folder)
	refused := func(why string, env ...string) {
		t.Helper()
		code, _, errOut := runWith(t, folder, "", env, "serve", "--listen", "0.0.0.0:0")
		assert.Equal(t, exitUsage, code)
		assert.Contains(t, errOut, why)
		assert.NotContains(t, errOut, "Fillmark serves")
	}
	withTLS := []string{"FILLMARK_TLS_CERT=" + cert, "FILLMARK_TLS_KEY=" + key}
	refused("no technician has a password", withTLS...)
	code, _, errOut := runWith(t, folder, "", nil, "technician", "add", "Lea", "--link")
	require.Zero(t, code, errOut)
	refused("no technician has a password", withTLS...)
	code, _, errOut = runWith(t, folder, testPassword+"\n", nil, "technician", "add", "Bo")
	require.Zero(t, code, errOut)
	refused("in the clear")
	refused("tls_key", "FILLMARK_TLS_CERT="+cert)
	refused("one certificate and its key", "FILLMARK_TLS_CERT="+key, "FILLMARK_TLS_KEY="+cert)
	refused("trusted_proxy", "FILLMARK_TRUSTED_PROXY=everybody")

	for name, env := range map[string][]string{"a certificate": withTLS, "a proxy": {"FILLMARK_TRUSTED_PROXY=10.1.0.0/24"}} {
		address, stop := startDaemonWith(t, folder, env, "--listen", "0.0.0.0:0")
		assert.NotEmpty(t, address, name)
		assert.Zero(t, stop(), name)
	}
}

func TestPagesOverTLS(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	cert, key, roots := certificate(t, folder)
	code, _, errOut := runWith(t, folder, testPassword+"\n", nil, "technician", "add", "Bo")
	require.Zero(t, code, errOut)
	address, stop := startDaemonWith(t, folder, []string{"FILLMARK_TLS_CERT=" + cert, "FILLMARK_TLS_KEY=" + key, "FILLMARK_BASE_URL=https://127.0.0.1"})
	require.True(t, strings.HasPrefix(address, "https://"), address)
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	client := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: roots}}}
	defer client.CloseIdleConnections()
	answer, err := client.PostForm(address+"/sign-in", url.Values{"name": {"Bo"}, "password": {testPassword}})
	require.NoError(t, err)
	page, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, "/", answer.Request.URL.Path, "signed in and led to the pages")
	assert.Contains(t, string(page), "Sign out")
	client.CloseIdleConnections()
	assert.Zero(t, stop())
}

func TestFirstStartPrintsALinkThatWorksOnce(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	said := startDaemonAndListen(t, folder, nil)
	link := regexp.MustCompile(`Once, within the hour: (http://\S+/password/\S+)`).FindStringSubmatch(<-said.linesWith("Once"))
	require.Len(t, link, 2)
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	set := func() int {
		answer, err := client.PostForm(link[1], url.Values{"name": {"Bo"}, "password": {testPassword}, "again": {testPassword}})
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		return answer.StatusCode
	}
	assert.Equal(t, http.StatusSeeOther, set())
	assert.Equal(t, http.StatusNotFound, set())
	client.CloseIdleConnections()
	assert.Zero(t, said.stop())
	again := startDaemonAndListen(t, folder, nil)
	<-again.linesWith("Fillmark serves")
	assert.Zero(t, again.stop())
	assert.NotContains(t, again.text(), "password", "no link once somebody has a password")
}

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
	c := defaultConfig(map[string]string{"HOME": folder})
	c.Store, c.Listen = filepath.Join(folder, "register.db"), "127.0.0.1:0"
	a := &app{errOut: io.Discard, now: testNow}
	h, err := openHouse(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	h.handler = slow
	ctx, stop := context.WithCancel(t.Context())
	addresses, ended := make(chan string, 1), make(chan error, 1)
	go func() {
		ended <- a.serve(ctx, c, h, slog.New(slog.DiscardHandler), func(address string) error { addresses <- address; return nil })
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
	require.NoError(t, h.close())
}

// Somebody who sends a byte now and then holds a connection no longer than the
// limit, and changes nothing.
func TestSlowBodiesAreCutOff(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := defaultConfig(map[string]string{"HOME": folder})
	c.Store = filepath.Join(folder, "register.db")
	h, err := openHouse(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	defer func() { require.NoError(t, h.close()) }()
	server := newServer(h.handler, slog.New(slog.DiscardHandler))
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
	for owner := range h.store.Owners() {
		assert.Fail(t, "an owner was recorded", owner.Name)
	}
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
