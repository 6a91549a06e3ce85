// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

// testNow is the time in every test: always the same.
func testNow() time.Time { return time.Date(2026, time.November, 28, 12, 0, 0, 0, time.UTC) }

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"fillmark": func() { os.Exit(runOn(testNow)) }})
}

// TestScripts runs the command lines of testdata/script as a user types them,
// each script with a register of its own.
func TestScripts(t *testing.T) {
	t.Parallel()
	params := scripts()
	params.Dir = "testdata/script"
	testscript.Run(t, params)
}

// scripts is how scripts are run, but for which.
func scripts() testscript.Params {
	return testscript.Params{
		RequireExplicitExec: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("HOME", filepath.Join(env.WorkDir, "home"))
			// A program built with the race detector waits a second at its end for
			// reports of other goroutines; four hundred commands would wait minutes.
			env.Setenv("GORACE", "atexit_sleep_ms=10")
			env.Setenv("FILLMARK_STORE", filepath.Join(env.WorkDir, "data", "register.db"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"status": status, "save": save, "fingerprint": fingerprint, "unix2crlf": unix2crlf, "awaitfile": awaitfile, "expand": expand,
		},
	}
}

// status N COMMAND ARG…: run the command and want exit status N.
func status(ts *testscript.TestScript, _ bool, args []string) {
	got := 0
	var exit *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &exit) {
		got = exit.ExitCode()
	} else if err != nil {
		ts.Fatalf("%v", err)
	}
	if strconv.Itoa(got) != args[0] {
		ts.Fatalf("exit status %d, want %s", got, args[0])
	}
}

// save NAME REGEXP: set the variable to the first group found in the output
// of the command before.
func save(ts *testscript.TestScript, _ bool, args []string) {
	found := regexp.MustCompile(args[1]).FindStringSubmatch(ts.ReadFile("stdout"))
	if len(found) < 2 {
		ts.Fatalf("%s is nowhere in the output", args[1])
	}
	ts.Setenv(args[0], found[1])
}

// expand FILE: put the values of variables into a file.
func expand(ts *testscript.TestScript, _ bool, args []string) {
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(os.Expand(ts.ReadFile(args[0]), ts.Getenv)), 0o600))
}

// fingerprint NAME FILE: set the variable to the hash of the file, or want it
// unchanged where the variable is set already.
func fingerprint(ts *testscript.TestScript, _ bool, args []string) {
	content, err := os.ReadFile(ts.MkAbs(args[1]))
	ts.Check(err)
	sum := fmt.Sprintf("%x", sha256.Sum256(content))
	switch was := ts.Getenv(args[0]); was {
	case "":
		ts.Setenv(args[0], sum)
	case sum:
	default:
		ts.Fatalf("%s changed", args[1])
	}
}

// unix2crlf FROM TO: write the file as a spreadsheet on another system does,
// with a byte order mark and CRLF.
func unix2crlf(ts *testscript.TestScript, _ bool, args []string) {
	text := strings.ReplaceAll(ts.ReadFile(args[0]), "\n", "\r\n")
	ts.Check(os.WriteFile(ts.MkAbs(args[1]), []byte("\xef\xbb\xbf"+text), 0o600))
}

// awaitfile NAME: wait until the file is there, such as a daemon's socket.
func awaitfile(ts *testscript.TestScript, _ bool, args []string) {
	end := time.Now().Add(20 * time.Second)
	for ; time.Now().Before(end); runtime.Gosched() {
		if _, err := os.Lstat(ts.MkAbs(args[0])); err == nil {
			return
		}
	}
	ts.Fatalf("%s is still not there", args[0])
}
