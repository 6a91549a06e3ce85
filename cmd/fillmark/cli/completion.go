// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"fillmark/chemistry"
	"fillmark/cmd/fillmark/acts"
	"fillmark/cmd/fillmark/workshop"
)

// completionCommand writes what a shell needs to complete commands, flags and
// what they take. Cobra's own is a command for each shell.
func (a *app) completionCommand() *cobra.Command {
	writers := map[string]func(root *cobra.Command) error{
		"bash":       func(root *cobra.Command) error { return root.GenBashCompletionV2(a.out, true) },
		"fish":       func(root *cobra.Command) error { return root.GenFishCompletion(a.out, true) },
		"powershell": func(root *cobra.Command) error { return root.GenPowerShellCompletionWithDesc(a.out) },
		"zsh":        func(root *cobra.Command) error { return root.GenZshCompletion(a.out) },
	}
	shells := slices.Sorted(maps.Keys(writers))
	return &cobra.Command{
		Use: "completion SHELL", Short: "Write the completion for a shell: " + strings.Join(shells, ", "),
		Long: `Write the completion for a shell. It completes commands, flags, and what there is
to choose from: tags, fluids, causes, kinds.`,
		Example: `  fillmark completion bash > fillmark    # for ~/.local/share/bash-completion/completions
  fillmark completion fish > fillmark.fish    # for ~/.config/fish/completions`,
		ValidArgs: shells,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || writers[args[0]] == nil {
				return fmt.Errorf("%q is no shell; one of them is right: %s", strings.Join(args, " "), strings.Join(shells, ", "))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return writers[args[0]](cmd.Root()) },
	}
}

// offered is the note on a flag that says what there is to choose from.
const offered = "fillmark_offered"

// offer notes what a shell may complete a flag's value to.
func offer[T ~string](flags *pflag.FlagSet, name string, values []T) {
	if len(values) > 0 {
		flags.Lookup(name).Annotations = map[string][]string{offered: acts.Texts(values)}
	}
}

// offerAll gives the shell what each flag and argument of a command and of those
// below it may be.
func (a *app) offerAll(cmd *cobra.Command) {
	kinds := map[string]cobra.CompletionFunc{
		"TAG": a.tags, "FLUID": words(chemistry.Fluids()), "METAL": words(chemistry.Metals()), "MATERIAL": words(chemistry.Materials()), "AGENT": words(chemistry.Agents()),
	}
	cmd.LocalNonPersistentFlags().VisitAll(func(f *pflag.Flag) {
		complete := kinds[strings.ToUpper(f.Value.Type())]
		if name, _ := pflag.UnquoteUsage(f); complete == nil {
			complete = kinds[strings.ToUpper(name)]
		}
		if choices := f.Annotations[offered]; len(choices) > 0 {
			complete = words(choices)
		}
		if complete != nil {
			_ = cmd.RegisterFlagCompletionFunc(f.Name, complete) // fails where a flag has one already
		}
	})
	if cmd.ValidArgsFunction == nil && regexp.MustCompile(`^\S+ \[?(KEY \| )?TAG\b`).MatchString(cmd.Use) {
		cmd.ValidArgsFunction = func(cmd *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
			if len(args) > 0 {
				return nil, cobra.ShellCompDirectiveDefault // a file, where one stands behind the tag
			}
			return a.tags(cmd, args, word)
		}
	}
	for _, sub := range cmd.Commands() {
		a.offerAll(sub)
	}
}

// words completes to one of some words.
func words[T ~string](values []T) cobra.CompletionFunc {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return acts.Texts(values), cobra.ShellCompDirectiveNoFileComp
	}
}

// tags completes to the tags on record, each with its machine and owner; to none
// where no register can be read.
func (a *app) tags(cmd *cobra.Command, _ []string, _ string) (all []string, _ cobra.ShellCompDirective) {
	lines, err := ask[items[workshop.LoopLine]](cmd.Context(), a, "GET", "/api/v1/loops", nil)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	for _, l := range lines.Items {
		all = append(all, cobra.CompletionWithDesc(string(l.Tag), l.MachineName+", "+l.OwnerName))
	}
	return all, cobra.ShellCompDirectiveNoFileComp
}
