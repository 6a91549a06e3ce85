// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
)

// A daemon waits for a database that is away when it starts, says so on every page
// while it is away later, and goes on without a restart.
func TestDaemonAndItsDatabase(t *testing.T) {
	t.Parallel()
	server, folder := peer.StartPostgres(t), t.TempDir()
	env := []string{"HOME=" + folder, "FILLMARK_FOLDER=" + folder, "FILLMARK_STORE=" + server.Address("")}
	run := func(args ...string) (code int, out, errOut string) {
		var o, e bytes.Buffer
		code = Run(t.Context(), testNow, args, env, strings.NewReader(""), &o, &e)
		return code, o.String(), e.String()
	}
	server.Stop(t)
	said := startDaemonAndListen(t, folder, env, "--open-bench")
	assert.Contains(t, <-said.linesWith("waiting for the register's database"), "does not answer")
	server.Start(t)
	address := regexp.MustCompile(`http://\S+`).FindString(<-said.linesWith("Fillmark serves"))
	require.NotEmpty(t, address)
	get := func(path string) (status int, again, body string) {
		answer, err := http.Get(address + path)
		require.NoError(t, err)
		text, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		require.NoError(t, answer.Body.Close())
		return answer.StatusCode, answer.Header.Get("Retry-After"), string(text)
	}
	status, _, _ := get("/loops")
	require.Equal(t, http.StatusOK, status)
	code, _, errOut := run("owner", "add", "--name", "Ana Ruizado")
	require.Zero(t, code, errOut)
	code, _, errOut = run("serve", "--listen", "127.0.0.1:0", "--open-bench")
	assert.Equal(t, exitInUse, code, "two daemons would take the socket from each other")
	assert.Contains(t, errOut, "its daemon answers there")

	server.Stop(t)
	status, again, body := get("/loops")
	assert.Equal(t, http.StatusServiceUnavailable, status)
	assert.Equal(t, "10", again)
	assert.Contains(t, body, "database does not answer")
	assert.Contains(t, body, "can be shown once it does")
	status, again, body = get("/api/v1/owners")
	assert.Equal(t, http.StatusServiceUnavailable, status)
	assert.Equal(t, "10", again)
	assert.Contains(t, body, `"kind": "away"`)
	status, _, _ = get("/readyz")
	assert.Equal(t, http.StatusServiceUnavailable, status)
	code, _, errOut = run("owner", "add", "--name", "Bo Harbour")
	assert.Equal(t, exitFailed, code)
	assert.Contains(t, errOut, "nothing was changed")
	assert.Contains(t, errOut, "hint: look whether the database runs")
	code, out, _ := run("doctor")
	assert.Equal(t, exitFailed, code)
	out = strings.Join(strings.Fields(out), " ")
	assert.Contains(t, out, "database does not answer")
	assert.Contains(t, out, "goes on by itself")
	assert.NotContains(t, out, "fillmark restore")

	server.Start(t)
	require.Eventually(t, func() bool { status, _, _ := get("/loops"); return status == http.StatusOK }, 30*time.Second, 100*time.Millisecond)
	code, out, errOut = run("owner", "list")
	require.Zero(t, code, errOut)
	assert.Contains(t, out, "Ana Ruizado")
	assert.NotContains(t, out, "Bo Harbour")
	assert.Zero(t, said.stop())
}
