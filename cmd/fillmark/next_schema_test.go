// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/testdata/peer"
	"fillmark/testdata/seeded"
)

// program is a built fillmark in a folder without a home.
type program struct{ path, home string }

// on runs a command on the register and returns what it wrote, errors too.
func (p program) on(register string, args ...string) (string, error) {
	c := exec.Command(p.path, append([]string{"--store", register}, args...)...)
	c.Env = []string{"HOME=" + p.home, "PATH=" + os.Getenv("PATH")}
	out, err := c.CombinedOutput()
	return string(out), err
}

// mustOn is on for what has to work.
func (p program) mustOn(t *testing.T, register string, args ...string) string {
	t.Helper()
	out, err := p.on(register, args...)
	require.NoError(t, err, "%s: %s", strings.Join(args, " "), out)
	return out
}

// build builds the program, with files of the tree replaced as the overlay says.
func build(t *testing.T, name string, args ...string) program {
	t.Helper()
	p := program{filepath.Join(t.TempDir(), name), t.TempDir()}
	out, err := exec.Command("go", append(append([]string{"build"}, args...), "-o", p.path, ".")...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return p
}

// overlay applies a patch to copies of the files that it names, and returns the
// file that has the go command build with these.
func overlay(t *testing.T, patch string) string {
	t.Helper()
	git := peer.Program(t, "git")
	root, err := filepath.Abs(filepath.Join("..", ".."))
	require.NoError(t, err)
	patch = filepath.Join(root, patch)
	text, err := os.ReadFile(patch)
	require.NoError(t, err)
	copies := t.TempDir()
	replace := map[string]string{}
	for _, found := range regexp.MustCompile(`(?m)^\+\+\+ b/(.+)$`).FindAllSubmatch(text, -1) {
		name := string(found[1])
		replace[filepath.Join(root, name)] = filepath.Join(copies, name)
		content, err := os.ReadFile(filepath.Join(root, name))
		require.NoError(t, err)
		require.NoError(t, os.MkdirAll(filepath.Join(copies, filepath.Dir(name)), 0o700))
		require.NoError(t, os.WriteFile(filepath.Join(copies, name), content, 0o600))
	}
	apply := exec.Command(git, "apply", "-C1", patch)
	apply.Dir = copies
	apply.Env = append(os.Environ(), "GIT_CEILING_DIRECTORIES="+filepath.Dir(copies))
	out, err := apply.CombinedOutput()
	require.NoError(t, err, "the invented schema 2 has to be written again over the files of today: %s", out)
	list, err := json.Marshal(map[string]any{"Replace": replace})
	require.NoError(t, err)
	file := filepath.Join(copies, "overlay.json")
	require.NoError(t, os.WriteFile(file, list, 0o600))
	return file
}

// The promise of doc/store.md on a whole program: one whose schema is 2, with a
// field more in a record nested in another, takes over the register of this one,
// and its exports; and a kill in the middle leaves a register of the one or of the
// other.
func TestCampaignNextSchema(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program twice")
	}
	t.Parallel()
	older := build(t, "older")
	newer := build(t, "newer", "-overlay", overlay(t, "loops/store/testdata/next-schema.patch"))
	folder := t.TempDir()
	shop := filepath.Join(folder, "shop")
	older.mustOn(t, shop, "try", "--once", shop, "--today", "2026-11-28")
	register := filepath.Join(shop, "register.db")
	content, err := os.ReadFile(register)
	require.NoError(t, err)
	before := filepath.Join(folder, "before.jsonl")
	older.mustOn(t, register, "export", "--to", before)

	start := time.Now()
	newer.mustOn(t, register, "sweep")
	took := time.Since(start)
	newer.mustOn(t, register, "check")
	assert.Contains(t, newer.mustOn(t, register, "shelf", "list", "instruments", "--json"), `"certificate"`)
	out, err := older.on(register, "check")
	require.Error(t, err)
	assert.Contains(t, out, "its schema is 2, this program knows 1")
	older.mustOn(t, register+".schema-1", "check")

	// The export of the older program and that of the newer one both come in, and
	// what comes in goes out again as it came.
	after := filepath.Join(folder, "after.jsonl")
	newer.mustOn(t, register, "export", "--to", after)
	for _, export := range []string{before, after} {
		imported := filepath.Join(folder, "of-"+filepath.Base(export), "register.db")
		newer.mustOn(t, imported, "import", export)
		newer.mustOn(t, imported, "check")
		again := export + ".again"
		newer.mustOn(t, imported, "export", "--to", again)
		text, err := os.ReadFile(again)
		require.NoError(t, err)
		assert.Contains(t, string(text), `"certificate":""`)
		if export == after {
			want, err := os.ReadFile(after)
			require.NoError(t, err)
			assert.True(t, bytes.Equal(want, text), "the newer program's export changed on its way through a register")
		}
	}

	random := rand.New(rand.NewPCG(seeded.Seed(t), 2))
	counts := map[string]int{}
	for n := range seeded.Times(4, 40) {
		path := filepath.Join(shop, fmt.Sprintf("killed%d.db", n)) // its photos are beside it
		require.NoError(t, os.WriteFile(path, content, 0o600))
		c := exec.Command(newer.path, "--store", path, "sweep")
		c.Env = []string{"HOME=" + newer.home}
		require.NoError(t, c.Start())
		time.AfterFunc(time.Duration(random.Int64N(int64(took))), func() { _ = c.Process.Kill() })
		_ = c.Wait() // killed or not
		_, noCopy := os.Stat(path + ".schema-1")
		switch out, err := older.on(path, "check"); {
		case err != nil:
			require.Contains(t, out, "its schema is 2")
			counts["after the step"]++
		case noCopy == nil:
			counts["between copy and step"]++
		default:
			counts["before the copy"]++
		}
		newer.mustOn(t, path, "sweep")
		newer.mustOn(t, path, "check")
		older.mustOn(t, path+".schema-1", "check")
	}
	t.Log(counts)
}
