// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/authority"
)

// phone opens addresses of the bench as a phone does that reaches every name at
// one address.
func phone(t *testing.T, at string, trusts *tls.Config) *http.Client {
	t.Helper()
	transport := &http.Transport{TLSClientConfig: trusts, DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "tcp", at)
	}}
	t.Cleanup(transport.CloseIdleConnections)
	return &http.Client{Transport: transport}
}

func fetched(t *testing.T, client *http.Client, address string) (status int, body []byte, header http.Header) {
	t.Helper()
	r, err := client.Get(address)
	require.NoError(t, err)
	defer r.Body.Close()
	body, err = io.ReadAll(r.Body)
	require.NoError(t, err)
	return r.StatusCode, body, r.Header
}

// A phone takes the authority's certificate from the bench, and from then on the
// bench is secure for it under its own names, after a restart too.
func TestAPhoneComesToTrustTheBench(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store, c.Listen, c.OwnCertificate = filepath.Join(folder, "register.db"), "127.0.0.1:0", []string{"bench.home.arpa", "192.168.1.20"}
	require.Empty(t, c.Problems())
	require.NoError(t, c.CheckFiles(testNow()), "nothing is made by looking")
	require.NoFileExists(t, authority.Path(c.authorityDir()))
	serve := func() (address string, stop func()) {
		h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
		require.NoError(t, err)
		require.True(t, h.facts().Certificate.Ends.IsZero() || !h.facts().Certificate.Ends.Before(testNow().AddDate(9, 0, 0)))
		require.True(t, h.facts().Certificate.Own)
		pages, err := BindPages(c.Listen)
		require.NoError(t, err)
		ctx, end := context.WithCancel(t.Context())
		addresses, ended := make(chan string, 1), make(chan error, 1)
		go func() {
			ended <- h.Serve(ctx, c, pages, testNow, slog.New(slog.DiscardHandler), func(address string) error { addresses <- address; return nil })
		}()
		select {
		case address = <-addresses:
		case err := <-ended:
			require.NoError(t, err)
		}
		assert.Equal(t, testNow().AddDate(0, 0, 365), h.facts().Certificate.Served)
		return strings.TrimPrefix(address, "https://"), func() { end(); require.NoError(t, <-ended); require.NoError(t, h.Close()) }
	}
	at, stop := serve()
	unsure := phone(t, at, &tls.Config{InsecureSkipVerify: true}) // "go on this once"
	status, page, header := fetched(t, unsure, "https://bench.home.arpa/trust")
	require.Equal(t, http.StatusOK, status, string(page))
	assert.Empty(t, header.Get("Strict-Transport-Security"), "a phone that takes it off again is not locked out")
	assert.Contains(t, string(page), "https://bench.home.arpa:0/trust")
	assert.Contains(t, string(page), "It vouches for <bdi>bench.home.arpa, 192.168.1.20</bdi>")
	status, der, header := fetched(t, unsure, "https://bench.home.arpa/trust/authority.crt")
	require.Equal(t, http.StatusOK, status)
	assert.Equal(t, "application/x-x509-ca-cert", header.Get("Content-Type"))
	installed, err := x509.ParseCertificate(der)
	require.NoError(t, err)
	roots := x509.NewCertPool()
	roots.AddCert(installed)
	trusts := &tls.Config{RootCAs: roots, Time: testNow}
	for _, host := range []string{"bench.home.arpa", "192.168.1.20", "127.0.0.1"} {
		status, _, _ := fetched(t, phone(t, at, trusts), "https://"+host+"/healthz")
		assert.Equal(t, http.StatusOK, status, host)
	}
	_, err = phone(t, at, trusts).Get("https://till.home.arpa/healthz")
	assert.ErrorContains(t, err, "certificate is valid for")
	stop()

	at, stop = serve()
	status, _, _ = fetched(t, phone(t, at, trusts), "https://bench.home.arpa/healthz")
	assert.Equal(t, http.StatusOK, status, "the phone need not be told again")
	stop()
	assert.NoError(t, c.CheckFiles(testNow()))

	c.OwnCertificate = []string{"till.home.arpa"}
	for _, err := range []error{c.CheckFiles(testNow()), func() error { _, err := c.shown(testNow); return err }()} {
		assert.ErrorContains(t, err, "own_certificate: ")
		assert.ErrorContains(t, err, "cannot vouch for till.home.arpa")
	}
	c.Workshop.Zone = "UTC"
	assert.Contains(t, c.facts(testNow()).Certificate.Fault, "till.home.arpa")
}

// What cannot be a host is refused with what would be right.
func TestOwnCertificateIsForHosts(t *testing.T) {
	t.Parallel()
	for _, host := range []string{"", "https://bench", "bench:8377", "0.0.0.0", "::", "-a", "a b", "fe80::1%eth0", "*.home.arpa", "com", "co.uk", "local", "home.arpa", "bench"} {
		c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
		c.OwnCertificate = []string{host}
		problems := c.Problems()
		require.Len(t, problems, 1, host)
		assert.ErrorContains(t, problems[0], "own_certificate")
		assert.ErrorContains(t, problems[0], "bench.home.arpa")
	}
	c := DefaultConfig(map[string]string{"HOME": t.TempDir()})
	c.OwnCertificate, c.TLSCert, c.TLSKey = []string{"bench.home.arpa"}, "a.pem", "a.key"
	require.Len(t, c.Problems(), 1)
	assert.ErrorContains(t, c.Problems()[0], "one certificate")

	c = DefaultConfig(map[string]string{"HOME": t.TempDir()})
	c.Listen, c.OwnCertificate = "192.168.1.20:8377", []string{"192.168.1.20"}
	assert.Empty(t, c.Problems(), "it may be reached beyond this computer")
	assert.Equal(t, "https://192.168.1.20:8377", c.benchAt())
}

// No backup carries the authority's key away.
func TestBackupLeavesTheAuthorityAtHome(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store, c.OwnCertificate = filepath.Join(folder, "register.db"), []string{"bench.home.arpa"}
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	_, err = c.shown(testNow)
	require.NoError(t, err)
	key, err := os.ReadFile(authority.Path(c.authorityDir()))
	require.NoError(t, err)
	to := filepath.Join(folder, "backup")
	require.NoError(t, h.keeper.Backup(t.Context(), to, "local:test", testNow()))
	require.NoError(t, h.Close())
	files := 0
	require.NoError(t, filepath.WalkDir(to, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		files++
		content, err := os.ReadFile(path)
		assert.NotContains(t, string(content), string(key[:200]), path)
		return err
	}))
	assert.NotZero(t, files)
}
