// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
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
	code = Run(t.Context(), testNow, args, env, strings.NewReader(in), &o, &e)
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

// What the daemon says may be kept, as the journal is: the link comes from the
// command.
func TestFirstLinkComesFromTheCommandAndWorksOnce(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	said := startDaemonAndListen(t, folder, nil)
	<-said.linesWith("fillmark technician password --link prints the link")
	assert.NotContains(t, said.text(), "/password/")
	code, out, errOut := runHere(t, folder, "technician", "password", "--link")
	require.Zero(t, code, errOut)
	link := regexp.MustCompile(`(http://\S+/password/\S+)`).FindStringSubmatch(out)
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
