// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"context"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stopAt calls stop when the words pass through it.
type stopAt struct {
	bytes.Buffer
	words string
	stop  func()
}

func (s *stopAt) Write(p []byte) (int, error) {
	if strings.Contains(string(p), s.words) {
		s.stop()
	}
	return s.Buffer.Write(p)
}

func TestTryStoppedBeforeItsPagesAreUpSaysSoAndLeavesNothing(t *testing.T) {
	tmp, err := os.MkdirTemp("", "") // t.TempDir is too long for a socket's path
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(tmp)) })
	home := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	out := &stopAt{words: "▐ 1", stop: stop}
	var errOut bytes.Buffer
	assert.Equal(t, exitFailed, Run(ctx, testNow, []string{"try", "--listen", "127.0.0.1:0"}, []string{"HOME=" + home}, strings.NewReader(""), out, &errOut))
	assert.Contains(t, out.String(), "▐ 1", "it was at work")
	assert.Equal(t, "fillmark: error: stopped before the job was done\n", errOut.String())
	left, err := os.ReadDir(tmp)
	require.NoError(t, err)
	assert.Empty(t, left)
}

// The trial speaks the language that is configured, and needs no configuration.
func TestTrySpeaksTheConfiguredLanguage(t *testing.T) {
	t.Parallel()
	home := t.TempDir()
	for language, env := range map[string]map[string]string{
		"en": {},
		"de": {"HOME": home, "FILLMARK_MAIL_LANGUAGE": "de"}, "pt-PT": {"HOME": home, "FILLMARK_MAIL_LANGUAGE": "pt-PT"},
	} {
		c, err := (&app{env: env}).invented()
		require.NoError(t, err)
		assert.Equal(t, language, c.Mail.Language)
		assert.Equal(t, "Tidewater Loop Workshop", c.Workshop.Name)
	}
	_, err := (&app{env: map[string]string{"HOME": home, "FILLMARK_MAIL_LANGUAGE": "xx"}}).invented()
	require.ErrorContains(t, err, "mail.language")
}
