// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A command hands nothing to a socket that another user made.
func TestOnlyTheUserOrRootMayAnswer(t *testing.T) {
	t.Parallel()
	folder, err := os.MkdirTemp("", "d")
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(folder)) })
	c := Config{Store: filepath.Join(folder, "register.db")}
	assert.True(t, c.mayAnswer(strconv.Itoa(os.Getuid())))
	assert.True(t, c.mayAnswer("0"))
	assert.False(t, c.mayAnswer("54321"))

	_, err = c.Dial(t.Context())
	require.Error(t, err)
	require.NotErrorIs(t, err, ErrStranger, "nobody answers")
	l, err := net.Listen("unix", c.Socket())
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, l.Close()) })
	conn, err := c.Dial(t.Context())
	require.NoError(t, err)
	require.NoError(t, conn.Close())
}

// Keys that others may read or change are no keys.
func TestKeysThatOthersMayUseAreRefused(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	c := DefaultConfig(map[string]string{"HOME": folder})
	c.Store = filepath.Join(folder, "register.db")
	h, err := Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, h.Close())
	for _, mode := range []os.FileMode{0o666, 0o604, 0o620, 0o777} {
		require.NoError(t, os.Chmod(c.linkKeyFile(), mode))
		_, err := Open(c, testNow, slog.New(slog.DiscardHandler))
		var setting *SettingError
		require.ErrorAs(t, err, &setting, "%o", mode)
		assert.Contains(t, err.Error(), "links.key")
		assert.Contains(t, err.Error(), "0600 is right")
	}
	require.NoError(t, os.Chmod(c.linkKeyFile(), 0o600))
	h, err = Open(c, testNow, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	require.NoError(t, h.Close())
}

// What goes into headers, names in the DNS and names of files is one line, and a
// selector is no path.
func TestConfigRefusesLinesAndPaths(t *testing.T) {
	t.Parallel()
	good := DefaultConfig(map[string]string{"HOME": t.TempDir()})
	require.Empty(t, good.Problems())
	for name, change := range map[string]func(*Config){
		"workshop.name":        func(c *Config) { c.Workshop.Name = "Tidewater\r\nBcc: x@y.example" },
		"workshop.phone":       func(c *Config) { c.Workshop.Phone = "+351\n1" },
		"base_url":             func(c *Config) { c.BaseURL = "https://a.example\r\nX: y" },
		"mail.smtp.hello_name": func(c *Config) { c.Mail.SMTP.HelloName = "me\r\nMAIL FROM:<x>" },
		"mail.dkim_selector":   func(c *Config) { c.Mail.DKIMSelector = "../../etc/passwd" },
	} {
		c := good
		change(&c)
		problems := c.Problems()
		require.NotEmpty(t, problems, name)
		assert.Contains(t, problems[0].Error(), name)
	}
	for _, selector := range []string{"", "a/b", "a\nb", "a.b", "-a", ".."} {
		c := good
		c.Mail.DKIMSelector = selector
		assert.Len(t, c.Problems(), 1, "%q", selector)
	}
}
