// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli_test

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"fillmark/cmd/fillmark/cli"
)

// Bytes that are no UTF-8 are refused where they come in.
func TestWordsAreUTF8(t *testing.T) {
	t.Parallel()
	register := filepath.Join(t.TempDir(), "register.db")
	var out, errOut bytes.Buffer
	code := cli.Run(t.Context(), func() time.Time { return time.Date(2026, time.November, 28, 12, 0, 0, 0, time.UTC) }, []string{"--store", register, "owner", "add", "--name", "Ana \xff"}, nil, strings.NewReader(""), &out, &errOut)
	assert.Equal(t, 2, code)
	assert.Empty(t, out.String())
	assert.Contains(t, errOut.String(), `word 6 of the command line, "Ana \xff": text in UTF-8 is right`)
	assert.NoFileExists(t, register)
}
