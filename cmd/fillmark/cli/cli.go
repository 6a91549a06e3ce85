// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

// Package cli holds the commands: flags in, words or one JSON document out,
// one exit code. Commands that touch the register are thin: they send one
// request to the handler of package web, over the daemon's Unix socket or in
// process. The others work out something at the bench and need no register.
//
// A file is named for its command; more of a command is in files whose names
// begin with it, and what all share is in flags, print, client and exit.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"fillmark/notify"
)

// app is what every command needs of the world outside.
type app struct {
	env    map[string]string
	in     io.Reader
	out    io.Writer // results only
	errOut io.Writer // everything else
	now    func() time.Time
	// lookupTXT asks the DNS; nil asks this computer's resolver.
	lookupTXT notify.LookupTXT

	configFile string
	storePath  string
	json       bool
}

// Run runs one command line on a clock and returns its exit code.
func Run(ctx context.Context, now func() time.Time, args, env []string, in io.Reader, out, errOut io.Writer) int {
	a := &app{env: environment(env), in: in, out: out, errOut: errOut, now: now}
	root := a.rootCommand()
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errOut)
	if len(args) > 0 && strings.HasPrefix(args[0], cobra.ShellCompRequestCmd) {
		a.offerAll(root)
	}
	err := checkText(args)
	if err == nil {
		var cmd *cobra.Command
		cmd, err = root.ExecuteContextC(ctx)
		err = asTyped(cmd, err)
	}
	if err == nil || errors.Is(err, errStop) {
		return exitCode(err)
	}
	for _, line := range errorLines(err) {
		fmt.Fprintln(visibleWriter{errOut}, "fillmark: error:", line)
	}
	if hint := a.hintFor(err); hint != "" {
		fmt.Fprintln(visibleWriter{errOut}, "fillmark: hint:", hint)
	}
	return exitCode(err)
}

// checkText refuses words that are no UTF-8: JSON would put other characters
// into the record for them.
func checkText(args []string) error {
	for i, word := range args {
		if !utf8.ValidString(word) {
			return &usageError{fmt.Errorf("word %d of the command line, %q: text in UTF-8 is right", i+1, word)}
		}
	}
	return nil
}

func environment(env []string) map[string]string {
	m := make(map[string]string, len(env))
	for _, pair := range env {
		if name, value, ok := strings.Cut(pair, "="); ok {
			m[name] = value
		}
	}
	return m
}

func (a *app) rootCommand() *cobra.Command {
	root := &cobra.Command{
		Use:   "fillmark",
		Short: "Keep every refilled cooling loop on schedule",
		Long: `Fillmark keeps every refilled cooling loop on schedule: what is in it, what it
needs and when, and what opened loops have taught.

  fillmark try                      see it work on an invented workshop
  fillmark mix --fluid pg --wall -20C --make 600ml --concentrate 95%
  fillmark serve                    pages, reminders and mail for your own`,
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       version(),
	}
	root.SetVersionTemplate("fillmark {{.Version}}\n")
	root.Flags().Bool("version", false, "print the version")
	root.PersistentFlags().StringVar(&a.configFile, "config", "", "configuration `file` (YAML)")
	root.PersistentFlags().StringVar(&a.storePath, "store", "", "register `file`, instead of the configured one")
	root.PersistentFlags().BoolVar(&a.json, "json", false, "print one JSON document")
	root.SetFlagErrorFunc(flagError)
	a.addGroups(root)
	root.SetHelpCommand(helpCommand(root))
	strict(root)
	return root
}

// addGroups adds the commands by what they are for, as the help lists them.
func (a *app) addGroups(root *cobra.Command) {
	for _, group := range []struct {
		title    string
		commands []*cobra.Command
	}{
		{"Today", []*cobra.Command{a.dueCommand(), a.calendarCommand(), a.sweepCommand(), a.outboxCommand(), a.bounceCommand()}},
		{"Bench", []*cobra.Command{a.mixCommand(), a.topupCommand(), a.readingCommand(), a.triageCommand(), a.logCommand(), a.propsCommand(), a.benchCommand(), a.rulesCommand()}},
		{"Record", []*cobra.Command{a.intakeCommand(), a.ownerCommand(), a.machineCommand(), a.loopCommand()}},
		{"Learn", []*cobra.Command{a.openingCommand(), a.livesCommand()}},
		{"Shelf", []*cobra.Command{a.shelfCommand()}},
		{"House", slices.Concat(a.wholeCommands(), a.docsCommands(), []*cobra.Command{a.tryCommand(), a.serveCommand(), a.technicianCommand(), a.doctorCommand(),
			a.dkimCommand(), a.configCommand(), a.versionCommand(), a.completionCommand()})},
	} {
		root.AddGroup(&cobra.Group{ID: group.title, Title: group.title})
		for _, cmd := range group.commands {
			cmd.GroupID = group.title
		}
		root.AddCommand(group.commands...)
	}
}

// helpCommand is cobra's, but for a command that is not there: cobra then shows
// the help of the whole program, as if that had been asked for.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use: "help [COMMAND]", GroupID: "House", Short: "Help about any command", Args: cobra.ArbitraryArgs,
		RunE: func(_ *cobra.Command, words []string) error {
			cmd, left, err := root.Find(words)
			if err != nil || len(left) > 0 {
				return unknownCommand(cmd, left)
			}
			cmd.InitDefaultHelpFlag()
			return cmd.Help()
		},
	}
}

// unknownCommand says what a group does not have, and what is spelled like it.
func unknownCommand(group *cobra.Command, words []string) error {
	group.SuggestionsMinimumDistance = 2
	hint := group.CommandPath() + " --help lists them"
	if near := group.SuggestionsFor(words[0]); len(near) > 0 {
		hint = "is it " + strings.Join(near, " or ") + "?"
	}
	return &usageError{fmt.Errorf("unknown command %q for %q; %s", words[0], group.CommandPath(), hint)}
}

// strict makes every command refuse words it does not know with a usage
// error: cobra by itself shows a group's help, as if all were well.
func strict(cmd *cobra.Command) {
	if args := cmd.Args; args != nil {
		cmd.Args = func(cmd *cobra.Command, words []string) error {
			if err := args(cmd, words); err != nil {
				return &usageError{err}
			}
			return nil
		}
	}
	if cmd.HasSubCommands() {
		cmd.Args = cobra.ArbitraryArgs
		cmd.RunE = func(cmd *cobra.Command, words []string) error {
			if len(words) > 0 {
				return unknownCommand(cmd, words)
			}
			return cmd.Help()
		}
	}
	for _, sub := range cmd.Commands() {
		strict(sub)
	}
}
