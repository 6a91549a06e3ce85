// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

//go:build unix

package main

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Marks that a reader sees in the comment behind a command.
const (
	serves   = "until Ctrl-C"  // it is left running while the rest is typed in another terminal
	left2CI  = "CI runs"       // too long for here: .ci/run has it
	later    = "the day after" // no clock is moved for it; testdata/script/register.txtar does the same on given days
	treeRoot = "../.."
)

// command is a line of a block of the documents.
type command struct{ text, comment string }

// commandBlocks are the blocks of commands of a document: those marked sh. One
// that looks like commands and is not marked is a fault.
func commandBlocks(name, document string) (blocks [][]command, faults []string) {
	for _, found := range regexp.MustCompile("(?ms)^```(\\w*)\n(.*?)^```$").FindAllStringSubmatch(document, -1) {
		if found[1] != "sh" {
			if looks := regexp.MustCompile(`(?m)^\$? ?(fillmark|go) `).FindString(found[2]); looks != "" && found[1] == "" {
				faults = append(faults, fmt.Sprintf("%s: a block with %q is marked neither sh nor text", name, looks))
			}
			continue
		}
		var block []command
		for line := range strings.Lines(found[2]) {
			text, comment, _ := strings.Cut(strings.TrimSpace(line), " #")
			if text != "" {
				block = append(block, command{strings.TrimSpace(text), comment})
			}
		}
		blocks = append(blocks, block)
	}
	return blocks, faults
}

// documents are README and what lies in doc, by name.
func documents(t *testing.T) map[string]string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(treeRoot, "doc", "*.md"))
	require.NoError(t, err)
	texts := map[string]string{}
	for _, name := range append(names, filepath.Join(treeRoot, "README.md")) {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		texts[filepath.Base(name)] = string(text)
	}
	require.Greater(t, len(texts), 5)
	return texts
}

// reader types what a document shows, with nothing in HOME at first. What the
// go command downloaded and built is kept.
type reader struct {
	t    *testing.T
	env  []string
	said strings.Builder // all that the commands printed
}

// shortFolder is a temporary folder whose path leaves room for a socket's;
// t.TempDir has the test's name in it.
func shortFolder(t *testing.T) string {
	t.Helper()
	folder, err := os.MkdirTemp("", "")
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, os.RemoveAll(folder)) })
	return folder
}

func newReader(t *testing.T) *reader {
	t.Helper()
	home, tmp := shortFolder(t), shortFolder(t)
	r := &reader{t: t, env: []string{"HOME=" + home, "PATH=" + os.Getenv("PATH"), "TMPDIR=" + tmp, "FILLMARK_LISTEN=127.0.0.1:0"}}
	for _, v := range []string{"GOMODCACHE", "GOCACHE", "GOPROXY", "GOSUMDB", "GOFLAGS", "GOTOOLCHAIN"} {
		value, err := exec.CommandContext(t.Context(), "go", "env", v).Output()
		require.NoError(t, err)
		r.env = append(r.env, v+"="+strings.TrimSpace(string(value)))
	}
	return r
}

// types runs lines in a terminal of their own. What serves is left running,
// once it says where, until the test ends; then Ctrl-C has to end it well.
func (r *reader) types(lines []command) {
	r.t.Helper()
	script := "set -e\n"
	for n, line := range lines {
		switch {
		case strings.Contains(line.comment, serves):
			r.leaves(script + "exec " + line.text)
			r.types(lines[n+1:])
			return
		case strings.Contains(line.comment, left2CI), strings.Contains(line.comment, later):
		default:
			script += line.text + "\n"
		}
	}
	cmd := r.shell(script)
	out, err := cmd.CombinedOutput()
	r.said.Write(out)
	require.NoError(r.t, err, "%s\n%s", script, out)
}

func (r *reader) shell(script string) *exec.Cmd {
	cmd := exec.Command("sh", "-c", script)
	cmd.Dir, cmd.Env = treeRoot, r.env
	return cmd
}

// leaves starts what serves in a process group, as a terminal does.
func (r *reader) leaves(script string) {
	r.t.Helper()
	cmd := r.shell(script)
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	read, write := io.Pipe()
	cmd.Stdout, cmd.Stderr = write, write
	require.NoError(r.t, cmd.Start())
	ended := make(chan error, 1)
	go func() {
		ended <- cmd.Wait()
		_ = write.Close() // a pipe has nothing to say
	}()
	r.t.Cleanup(func() {
		assert.NoError(r.t, syscall.Kill(-cmd.Process.Pid, syscall.SIGINT))
		// The go command itself answers Ctrl-C with 1, whatever the program it runs does.
		if err := <-ended; !strings.Contains(script, "exec go run ") {
			assert.NoError(r.t, err, "after Ctrl-C: %s", script)
		}
	})
	lines, ready := bufio.NewScanner(read), false
	var said strings.Builder
	for !ready && lines.Scan() {
		fmt.Fprintln(&said, lines.Text())
		ready = regexp.MustCompile(`(Fillmark serves|Pages:) http://`).MatchString(lines.Text())
	}
	go func() { _, _ = io.Copy(io.Discard, read) }()
	require.True(r.t, ready, "%s\nended before it served:\n%s", script, said.String())
}

// Every block of commands of the documents works as it stands, in order. The
// program is the one that `go install` makes, so it goes by the machine's
// clock; nothing here depends on the day.
func TestDocumentedCommandsWork(t *testing.T) {
	t.Parallel()
	ci, err := os.ReadFile(filepath.Join(treeRoot, ".ci", "run"))
	require.NoError(t, err)
	ran := 0
	for name, text := range documents(t) {
		blocks, faults := commandBlocks(name, text)
		assert.Empty(t, faults)
		if len(blocks) == 0 {
			continue
		}
		ran++
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := newReader(t)
			for _, block := range blocks {
				for _, line := range block {
					if strings.Contains(line.comment, left2CI) {
						assert.Regexp(t, regexp.QuoteMeta(strings.Fields(line.text)[0]+" "+strings.Fields(line.text)[1])+`.*\./\.\.\.`, string(ci), "what is left to CI")
					}
				}
				r.types(block)
			}
			if name == "README.md" {
				assert.Contains(t, r.said.String(), "total resistance", "the reading that README shows is strong enough to be used")
			}
		})
	}
	assert.NotZero(t, ran)
}

func TestCommandBlocksFindsUnmarkedOnes(t *testing.T) {
	t.Parallel()
	blocks, faults := commandBlocks("a.md", "```sh\ngo run .   # until Ctrl-C\n\nfillmark due\n```\n```text\nfillmark due\n```\n```\nfillmark due ──► here\n```\n")
	assert.Equal(t, [][]command{{{"go run .", " until Ctrl-C"}, {"fillmark due", ""}}}, blocks)
	assert.Len(t, faults, 1)
}
