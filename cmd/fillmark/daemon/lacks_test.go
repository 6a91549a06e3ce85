// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package daemon

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Where no socket can be made, as on an old Windows, the pages are served all
// the same and the log says what is missing; elsewhere it is an error.
func TestServesWithoutASocketWhereTheSystemHasNone(t *testing.T) {
	t.Parallel()
	for system, survives := range map[string]bool{"windows": true, "linux": false} {
		t.Run(system, func(t *testing.T) {
			t.Parallel()
			folder := t.TempDir()
			c := DefaultConfig(map[string]string{"HOME": folder})
			c.Store = filepath.Join(folder, "register.db")
			require.NoError(t, os.MkdirAll(filepath.Join(c.Socket(), "in the way"), 0o700))
			var said bytes.Buffer
			log := NewLog(&said, slog.LevelWarn)
			h, err := Open(c, testNow, log)
			require.NoError(t, err)
			h.system = system
			pages, err := BindPages("127.0.0.1:0")
			require.NoError(t, err)
			ctx, stop := context.WithCancel(t.Context())
			defer stop()
			err = h.Serve(ctx, c, pages, testNow, log, func(address string) error {
				defer stop()
				answer, err := http.Get(address + "/healthz")
				if err != nil {
					return err
				}
				assert.Equal(t, http.StatusOK, answer.StatusCode)
				return answer.Body.Close()
			})
			require.NoError(t, h.Close())
			if !survives {
				require.ErrorContains(t, err, "socket")
				assert.Empty(t, said.String(), "this system lacks nothing")
				return
			}
			require.NoError(t, err)
			for _, line := range append(lacks(system), noSocket) {
				assert.Contains(t, said.String(), line)
			}
		})
	}
}

func TestOperationsTableSaysWhatTheDaemonSays(t *testing.T) {
	t.Parallel()
	page, err := os.ReadFile("../../../doc/operations.md")
	require.NoError(t, err)
	text := strings.ReplaceAll(string(page), "`", "")
	require.Len(t, lacks("windows"), 3)
	for _, line := range append(lacks("windows"), noSocket) {
		assert.Contains(t, text, line)
	}
	for _, system := range []string{"linux", "darwin", "freebsd"} {
		assert.Empty(t, lacks(system), system)
	}
}
