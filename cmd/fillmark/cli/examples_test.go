// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
)

// callsOf are the words of each call of fillmark in some lines, as a shell takes
// them apart: quotes, comments, and lines that go on.
func callsOf(t *testing.T, sh, lines string) (calls [][]string) {
	t.Helper()
	read, write, err := os.Pipe()
	require.NoError(t, err)
	defer read.Close()
	cmd := exec.CommandContext(t.Context(), sh, "-c", "fillmark() { printf '%s\\0' \"$@\" >&3; printf '\\n\\0' >&3; }\njq() { :; }\n"+lines)
	cmd.Dir = t.TempDir() // what an example writes
	require.NoError(t, os.WriteFile(cmd.Dir+"/returned.eml", nil, 0o600))
	cmd.ExtraFiles = []*os.File{write}
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s\n%s", lines, out)
	require.NoError(t, write.Close())
	all, err := io.ReadAll(read)
	require.NoError(t, err)
	var call []string
	for word := range strings.SplitSeq(strings.TrimSuffix(string(all), "\x00"), "\x00") {
		if word == "\n" {
			calls, call = append(calls, call), nil
			continue
		}
		call = append(call, word)
	}
	return calls
}

// Every command shows how it is used, in words that it takes.
func TestEveryCommandHasAnExampleThatParses(t *testing.T) {
	t.Parallel()
	sh := peer.Program(t, "sh")
	a := &app{now: testNow}
	for leaf := range leaves(a.rootCommand()) {
		if !assert.NotEmpty(t, leaf.Example, leaf.CommandPath()) {
			continue
		}
		shown := false
		for _, words := range callsOf(t, sh, leaf.Example) {
			root := (&app{now: testNow}).rootCommand() // flags keep what they were given
			cmd, rest, err := root.Find(words)
			require.NoError(t, err, "%q", words)
			shown = shown || cmd.CommandPath() == leaf.CommandPath()
			require.NoError(t, cmd.ParseFlags(rest), "%q", words)
			assert.NoError(t, cmd.ValidateArgs(cmd.Flags().Args()), "%q", words)
			assert.NoError(t, cmd.ValidateRequiredFlags(), "%q", words)
		}
		assert.True(t, shown, "%s shows another command only", leaf.CommandPath())
	}
}
