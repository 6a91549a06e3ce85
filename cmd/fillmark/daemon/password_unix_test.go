// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package daemon

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A password that others on the computer may read or change stops the start, and
// says how it is put right.
func TestPasswordFileIsForItsUserAlone(t *testing.T) {
	t.Parallel()
	c := DefaultConfig(map[string]string{})
	c.Store = filepath.Join(t.TempDir(), "register.db")
	c.Mail.Transport, c.Mail.SMTP.User = "smtp", "anna"
	c.Mail.SMTP.PasswordFile = filepath.Join(t.TempDir(), "password")
	require.NoError(t, os.WriteFile(c.Mail.SMTP.PasswordFile, []byte("copper plate wet felt\n"), 0o600))
	for mode, says := range map[os.FileMode]string{0o600: "", 0o400: "", 0o640: "", 0o644: "chmod 600", 0o622: "chmod 600"} {
		require.NoError(t, os.Chmod(c.Mail.SMTP.PasswordFile, mode))
		err := c.CheckMailFiles()
		if says == "" {
			assert.NoError(t, err, fmt.Sprintf("%04o", mode))
			continue
		}
		assert.ErrorContains(t, err, says, fmt.Sprintf("%04o", mode))
		assert.ErrorContains(t, err, "mail.smtp.password_file")
		assert.NotContains(t, err.Error(), "copper plate")
	}
}
