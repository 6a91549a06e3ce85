// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/doctor"
	"fillmark/cmd/fillmark/web"
	"fillmark/loops"
	"fillmark/testdata/peer"
)

// On a real medium for reading alone the register is checked and what is due is
// read; what writes is refused, and nothing of it changes.
func TestReadOnlyMedium(t *testing.T) {
	folder := peer.Disk(t, "8m")
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(folder, "register.db")
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, h.Close())
	before, err := os.ReadFile(c.Store)
	require.NoError(t, err)
	require.NoError(t, syscall.Mount("", folder, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))

	_, err = Open(c, testNow, slog.New(slog.DiscardHandler))
	require.ErrorIs(t, err, syscall.EROFS, "the daemon does not run on it")
	h, err = OpenAny(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	for path, want := range map[string]string{"/api/v1/due": `"overdue"`, "/api/v1/check": `"ok": true`, "/api/v1/export": "fillmark export"} {
		answer := httptest.NewRecorder()
		h.Handler.ServeHTTP(answer, ownRequest(t, "GET", path, ""))
		assert.Equal(t, http.StatusOK, answer.Code, path)
		assert.Contains(t, answer.Body.String(), want, path)
	}
	answer := httptest.NewRecorder()
	h.Handler.ServeHTTP(answer, ownRequest(t, "POST", "/api/v1/owners", `{"name":"Ana Ruizado"}`))
	assert.NotEqual(t, http.StatusOK, answer.Code)
	_, err = h.Store.NewOwnerID()
	require.ErrorIs(t, err, loops.ErrReadOnly)
	line := h.Examine(t.Context()).Line("permissions")
	assert.Equal(t, doctor.Red, line.State)
	assert.Contains(t, line.Says, "cannot be written to")
	require.NoError(t, h.Close())
	after, err := os.ReadFile(c.Store)
	require.NoError(t, err)
	assert.Equal(t, before, after)
}

// ownRequest is a command's request of this computer's user.
func ownRequest(t *testing.T, method, path, body string) *http.Request {
	t.Helper()
	r := httptest.NewRequestWithContext(web.WithActor(t.Context(), "local:test"), method, "http://127.0.0.1"+path, strings.NewReader(body))
	if body != "" {
		r.Header.Set("Content-Type", "application/json")
	}
	return r
}
