// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/testdata/seeded"
)

// awkward is what is typed at flags and arguments.
func awkward() []string {
	return []string{
		"", " ", "-", "--", "-1", "0", "1", "2", "999", "1e400", "NaN", "40%", "-20C", "5K", "600ml", "-1ml", "1e9l", "13mm", "2026-02-30", "2026-03-14", "pg", "water", "none", "unknown", "yes", "copper", "clog",
		"\x00", "\xff\xfe", "\r\nX: y", "\x1b[2J", "\u202e", "🫧", "a=b", "1=10ml", "label=sheet@2026-03-14", "cold plate:copper/nickel", "30%:-14C", "loud since May", strings.Repeat("é", 3000), "../../etc/passwd", "ana@garden.example",
	}
}

// typable lists the commands that do something, but for those that serve, ask at
// a terminal or write files where they are told.
func typable(root *cobra.Command) (all []*cobra.Command) {
	for cmd := range leaves(root) {
		words := strings.Fields(cmd.CommandPath())
		if !slices.ContainsFunc([]string{"serve", "try", "restore", "backup", "dkim", "config"}, func(w string) bool { return slices.Contains(words, w) }) {
			all = append(all, cmd)
		}
	}
	return all
}

// writing are flags that name files to write or registers to open.
func writing() []string {
	return []string{"to", "svg", "csv", "photos", "store", "config", "socket", "help"}
}

// Whatever is typed at any command: the exit status is a documented one, an error
// typable standard output empty, and the register stays sound. In full length it
// is 6,000 lines.
func TestCampaignHostileCommands(t *testing.T) {
	t.Parallel()
	lines, seed := seeded.Times(60, 6000), seeded.Seed(t)
	random := rand.New(rand.NewPCG(seed, 18))
	folder := t.TempDir()
	must(t, folder, "owner", "add", "--name", "Ana Ruizado", "--email", "ana@garden.example")
	must(t, folder, "machine", "add", "--owner", "1", "--kind", "desktop", "--name", "the grey tower")
	tag := strings.TrimSpace(must(t, folder, "loop", "add", "--machine", "1", "--sealed", "--holds", "480ml"))
	words := append(awkward(), strings.Fields(strings.ReplaceAll(tag, ":", " "))...)
	pick := func() string { return words[random.IntN(len(words))] }
	all := typable((&app{now: testNow}).rootCommand())
	require.Greater(t, len(all), 60)
	codes := map[int]int{}
	for range lines {
		cmd := all[random.IntN(len(all))]
		args := strings.Fields(cmd.CommandPath())[1:]
		for range random.IntN(3) {
			args = append(args, pick())
		}
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			if random.IntN(4) == 0 && !slices.Contains(writing(), f.Name) {
				args = append(args, "--"+f.Name+"="+pick())
			}
		})
		code, out, errOut := runHere(t, folder, args...)
		codes[code]++
		require.Contains(t, []int{exitDone, exitFailed, exitUsage, exitStop, exitRange, exitNotFound}, code, "%q: %s", args, errOut)
		assert.NotRegexp(t, "panic|something went wrong here", errOut, "%q", args)
		assert.Less(t, len(out)+len(errOut), 256<<10, "%q", args)
		found := code == exitFailed && cmd.Name() == "doctor" // it tells what is wrong, and ends with that
		if code != exitDone && code != exitStop && !found {
			assert.Empty(t, out, "%q", args)
			assert.NotEmpty(t, errOut, "%q", args)
		}
	}
	t.Logf("%d lines to %d commands: %v", lines, len(all), codes)
	assert.Greater(t, codes[exitUsage], lines/4)
	must(t, folder, "check")
}
