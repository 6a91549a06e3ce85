// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/loops"
	"fillmark/loops/store"
)

// runHere runs one command line against the register in a folder.
func runHere(t *testing.T, folder string, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	env := []string{"HOME=" + folder, "FILLMARK_STORE=" + filepath.Join(folder, "register.db")}
	code = Run(t.Context(), testNow, args, env, strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

// startDaemon serves the register in the folder until stop is called, and
// returns the pages' host and port.
func startDaemon(t *testing.T, folder string) (address string, stop func() int) {
	t.Helper()
	address, stop = startDaemonWith(t, folder, nil)
	return strings.TrimPrefix(address, "http://"), stop
}

// startDaemonWith is startDaemon with more of the environment and flags; the
// address is as it was announced.
func startDaemonWith(t *testing.T, folder string, env []string, flags ...string) (address string, stop func() int) {
	t.Helper()
	said := startDaemonAndListen(t, folder, env, flags...)
	found := regexp.MustCompile(`https?://\S+`).FindString(<-said.linesWith("Fillmark serves"))
	require.NotEmpty(t, found, "the daemon announced no address")
	return found, said.stop
}

// sayings are what a daemon writes to standard error.
type sayings struct {
	mu    sync.Mutex
	lines []string
	wait  map[string]chan string // by what the line has
	stop  func() int
}

// linesWith gives the first line that has the words, when it comes; an empty
// one where the daemon ends without.
func (s *sayings) linesWith(words string) <-chan string {
	s.mu.Lock()
	defer s.mu.Unlock()
	c := make(chan string, 1)
	for _, line := range s.lines {
		if strings.Contains(line, words) {
			c <- line
			return c
		}
	}
	s.wait[words] = c
	return c
}

func (s *sayings) hear(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lines = append(s.lines, line)
	for words, c := range s.wait {
		if strings.Contains(line, words) {
			c <- line
			delete(s.wait, words)
		}
	}
}

func (s *sayings) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Join(s.lines, "\n")
}

// startDaemonAndListen serves the register in the folder, on a free port
// unless the flags say otherwise.
func startDaemonAndListen(t *testing.T, folder string, env []string, flags ...string) *sayings {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	read, write := io.Pipe()
	ended, heard := make(chan int, 1), make(chan struct{})
	go func() {
		env := append([]string{"HOME=" + folder, "FILLMARK_STORE=" + filepath.Join(folder, "register.db")}, env...)
		code := Run(ctx, testNow, append([]string{"serve", "--listen", "127.0.0.1:0"}, flags...), env, strings.NewReader(""), io.Discard, write)
		_ = write.Close() // a pipe has nothing to say
		ended <- code
	}()
	s := &sayings{wait: map[string]chan string{}, stop: func() int { cancel(); code := <-ended; <-heard; return code }}
	go func() {
		defer close(heard)
		for lines := bufio.NewScanner(read); lines.Scan(); {
			s.hear(lines.Text())
		}
		s.mu.Lock()
		defer s.mu.Unlock()
		for _, c := range s.wait {
			close(c)
		}
	}()
	return s
}

func TestCommandsReachTheDaemonOverItsSocket(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	address, stop := startDaemon(t, folder)

	answer, err := http.Get("http://" + address + "/healthz")
	require.NoError(t, err)
	require.NoError(t, answer.Body.Close())
	assert.Equal(t, http.StatusOK, answer.StatusCode)

	_, err = store.Open(filepath.Join(folder, "register.db"), store.Options{Timeout: 1e7})
	require.ErrorIs(t, err, loops.ErrInUse, "the daemon holds the register")

	code, out, errOut := runHere(t, folder, "owner", "add", "--name", "Ana Ruizado", "--json")
	require.Zero(t, code, errOut)
	var owner loops.Owner
	require.NoError(t, json.Unmarshal([]byte(out), &owner))
	assert.Equal(t, loops.OwnerID(1), owner.ID)

	code, out, errOut = runHere(t, folder, "machine", "add", "--owner", "7", "--kind", "desktop", "--name", "x")
	assert.Equal(t, exitNotFound, code, "errors keep their exit status over the socket")
	assert.Empty(t, out)
	assert.Contains(t, errOut, "owner 7")
	code, _, errOut = runHere(t, folder, "owner", "add", "--name", "Bo", "--email", "nowhere")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errOut, `email "nowhere"`)

	list := filepath.Join(folder, "owners.csv")
	require.NoError(t, os.WriteFile(list, []byte("name,email\nBea,bea@x.example\n"), 0o600))
	code, out, errOut = runHere(t, folder, "import", list, "--table", "owners")
	assert.Zero(t, code, "what was added is told as added, or the same list is imported twice: %s", errOut)
	assert.Contains(t, out, "1 row added")

	code, _, errOut = runHere(t, folder, "serve", "--listen", "127.0.0.1:0")
	assert.Equal(t, exitInUse, code, "a second daemon is told")
	assert.Contains(t, errOut, "in use")

	assert.Zero(t, stop())
	s, err := store.Open(filepath.Join(folder, "register.db"), store.Options{})
	require.NoError(t, err, "the daemon let go of the register")
	defer func() { require.NoError(t, s.Close()) }()
	for line, err := range s.Audit() {
		require.NoError(t, err)
		assert.True(t, strings.HasPrefix(line.By, "local:"), "recorded as %s", line.By)
		assert.NotEqual(t, "local:unknown", line.By)
	}
}

// A write wakes the daemon: the hand-over mail goes out without a sweep being
// asked for.
func TestAWriteWakesTheDaemon(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	_, stop := startDaemon(t, folder)
	mustRun := func(args ...string) string {
		code, out, errOut := runHere(t, folder, args...)
		require.Zero(t, code, "%v: %s", args, errOut)
		return out
	}
	mustRun("owner", "add", "--name", "Ana Ruizado", "--email", "ana@garden.example")
	mustRun("machine", "add", "--owner", "1", "--kind", "desktop", "--name", "tower")
	tag := regexp.MustCompile(`Its tag is (\w+)`).FindStringSubmatch(mustRun("loop", "add", "--machine", "1", "--holds", "480ml", "--open", "--wall", "-10C"))[1]
	yesterday := loops.DayOf(testNow(), time.UTC).AddDays(-1).String()
	mustRun("loop", "fill", tag, "--fluid", "pg", "--mass", "40%", "--poured", "470ml", "--day", yesterday)
	mustRun("loop", "leakcheck", tag, "--hours", "24h", "--dry")
	mustRun("loop", "handover", tag, "--mail-consent", "--unproved", "no load here")
	assert.EventuallyWithT(t, func(t *assert.CollectT) {
		found, err := filepath.Glob(filepath.Join(folder, "mail", "new", "*"))
		assert.NoError(t, err)
		assert.Len(t, found, 1)
	}, 10e9, 2e7)
	assert.Zero(t, stop())
}

func TestServeRefusesOtherAddresses(t *testing.T) {
	t.Parallel()
	code, _, errOut := runHere(t, t.TempDir(), "serve", "--listen", "0.0.0.0:0")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errOut, "loopback")
}

func TestSocketPathThatIsTooLongIsOneClearError(t *testing.T) {
	t.Parallel()
	folder := filepath.Join(t.TempDir(), strings.Repeat("deep", 30))
	code, _, errOut := runHere(t, folder, "serve", "--listen", "127.0.0.1:0")
	assert.Equal(t, exitUsage, code)
	assert.Contains(t, errOut, "shorter folder")
}
