// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"fillmark/cmd/fillmark/daemon"
	"fillmark/cmd/fillmark/demo"
)

// What the documents say of the commands is compared with the commands. The
// blocks of commands are typed by the test of package main.

const tree = "../../.."

// documents are README, DEVELOPERS and what lies in doc, by name.
func documents(t *testing.T) map[string]string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(tree, "doc", "*.md"))
	require.NoError(t, err)
	texts := map[string]string{}
	for _, name := range append(names, filepath.Join(tree, "README.md"), filepath.Join(tree, "DEVELOPERS.md")) {
		text, err := os.ReadFile(name)
		require.NoError(t, err)
		texts[filepath.Base(name)] = string(text)
	}
	require.Greater(t, len(texts), 5)
	return texts
}

// README's transcript is what `try --today 2026-11-28` prints, line by line;
// "…" stands for what is left out, and the tags are drawn at random.
func TestREADMEShowsWhatTryPrints(t *testing.T) {
	t.Parallel()
	block := regexp.MustCompile("(?s)```text\n(Tidewater.*?)```").FindStringSubmatch(documents(t)["README.md"])
	require.Len(t, block, 2)
	day, err := demoDay("2026-11-28")
	require.NoError(t, err)
	var said bytes.Buffer
	a := &app{out: &said, errOut: &said, now: testNow}
	a = a.on(day)
	h, err := a.runScenario(t.Context(), t.TempDir(), demo.Config(daemon.DefaultConfig(nil)))
	require.NoError(t, err)
	require.NoError(t, h.Close())
	assert.Empty(t, notPrinted(block[1], said.String()))
	for _, wrong := range []string{"▐ 2  Registered: 11 owners", "     dilution water     396 g"} {
		assert.NotEmpty(t, notPrinted(wrong+"\n"+block[1], said.String()))
	}
}

// notPrinted are the lines of a transcript that are not in the output, in
// order. The last step of try is where the pages are, which differs each time.
func notPrinted(transcript, output string) (missing []string) {
	tag := regexp.MustCompile(`\b[0-9A-HJ-NP-TV-Z]{6}\b`)
	printed := strings.Split(tag.ReplaceAllString(output, "(tag)"), "\n")
	for line := range strings.Lines(transcript) {
		line = strings.TrimRight(tag.ReplaceAllString(line, "(tag)"), "\n")
		if strings.HasPrefix(line, "▐ 7") {
			break
		}
		begin, _, _ := strings.Cut(line, "…")
		n := slices.IndexFunc(printed, func(p string) bool { return p == line || begin != line && strings.HasPrefix(p, begin) })
		switch {
		case strings.TrimSpace(line) == "…":
		case n < 0:
			missing = append(missing, line)
		default:
			printed = printed[n+1:]
		}
	}
	return missing
}

func TestDocumentedExitStatuses(t *testing.T) {
	t.Parallel()
	file, err := parser.ParseFile(token.NewFileSet(), "exit.go", nil, parser.SkipObjectResolution)
	require.NoError(t, err)
	var real []string
	ast.Inspect(file, func(n ast.Node) bool {
		if spec, ok := n.(*ast.ValueSpec); ok && strings.HasPrefix(spec.Names[0].Name, "exit") {
			real = append(real, spec.Values[0].(*ast.BasicLit).Value)
		}
		return true
	})
	_, section, found := strings.Cut(documents(t)["commands.md"], "## Exit status")
	require.True(t, found)
	section, _, _ = strings.Cut(section, "\n## ")
	var documented []string
	for _, row := range regexp.MustCompile(`(?m)^\| (\d+) \|`).FindAllStringSubmatch(section, -1) {
		documented = append(documented, row[1])
	}
	assert.NotEmpty(t, real)
	assert.ElementsMatch(t, real, documented)
}

// spans are the pieces of code in a document that could be commands: in the
// running text, and the lines of blocks marked sh.
func spans(document string) (all []string) {
	block := regexp.MustCompile("(?ms)^```(\\w*)\n(.*?)^```$")
	for _, found := range block.FindAllStringSubmatch(document, -1) {
		for line := range strings.Lines(found[2]) {
			if text, _, _ := strings.Cut(line, " #"); found[1] == "sh" && strings.HasPrefix(text, "fillmark ") {
				all = append(all, strings.TrimSpace(text))
			}
		}
	}
	for _, found := range regexp.MustCompile("`([^`\n]+)`").FindAllStringSubmatch(block.ReplaceAllString(document, ""), -1) {
		all = append(all, found[1])
	}
	return all
}

// commandOf is the command that a piece of code names; nil where it names none.
func commandOf(root *cobra.Command, span string) (cmd *cobra.Command, words []string) {
	words = strings.Fields(strings.TrimPrefix(span, "fillmark "))
	cmd = root
	for len(words) > 0 {
		n := slices.IndexFunc(cmd.Commands(), func(c *cobra.Command) bool { return c.Name() == words[0] })
		if n < 0 {
			break
		}
		cmd, words = cmd.Commands()[n], words[1:]
	}
	if cmd == root {
		return nil, words
	}
	return cmd, words
}

// flagFaults are the flags behind a command in a piece of code that it has not.
func flagFaults(root *cobra.Command, span string) (faults []string) {
	cmd, words := commandOf(root, span)
	if cmd == nil && strings.HasPrefix(span, "fillmark ") && !strings.HasPrefix(words[0], "-") && !regexp.MustCompile(`^[A-Z]`).MatchString(words[0]) {
		return []string{"no such command: " + span}
	}
	if cmd == nil {
		return nil
	}
	for _, word := range words {
		name, isFlag := strings.CutPrefix(word, "--")
		name = regexp.MustCompile(`^[a-z0-9-]*`).FindString(name)
		if isFlag && name != "help" && cmd.Flags().Lookup(name) == nil && cmd.InheritedFlags().Lookup(name) == nil {
			faults = append(faults, "no such flag: "+span)
		}
	}
	return faults
}

func TestDocumentedCommandsAndFlagsExist(t *testing.T) {
	t.Parallel()
	root := (&app{now: testNow}).rootCommand()
	mentioned := map[string]bool{}
	for name, text := range documents(t) {
		for _, span := range spans(text) {
			assert.Empty(t, flagFaults(root, span), name)
			if cmd, _ := commandOf(root, span); cmd != nil {
				mentioned[cmd.CommandPath()] = true
			}
		}
	}
	for _, row := range jsonRows(t) {
		for _, name := range row.commands(root) {
			mentioned[name] = true
		}
	}
	for cmd := range leaves(root) {
		assert.True(t, mentioned[cmd.CommandPath()], "%q is in no document", cmd.CommandPath())
	}
	for _, wrong := range []string{"fillmark nonsense", "fillmark due --nonsense", "mix --fluid pg --mas 40%"} {
		assert.NotEmpty(t, flagFaults(root, wrong))
	}
}

// Every flag says what it is for: the manual pages are made of that.
func TestEveryFlagIsExplained(t *testing.T) {
	t.Parallel()
	root := (&app{now: testNow}).rootCommand()
	for cmd := range leaves(root) {
		cmd.Flags().VisitAll(func(f *pflag.Flag) { assert.NotEmpty(t, f.Usage, "%s --%s", cmd.CommandPath(), f.Name) })
	}
}

// leaves yields the commands that do something and are in the help.
func leaves(cmd *cobra.Command) func(yield func(*cobra.Command) bool) {
	return func(yield func(*cobra.Command) bool) {
		for _, sub := range cmd.Commands() {
			if sub.Hidden {
				continue
			}
			if !sub.HasSubCommands() && !yield(sub) {
				return
			}
			leaves(sub)(yield)
		}
	}
}
