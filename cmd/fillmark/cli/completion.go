// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

// completionCommand writes what a shell needs to complete commands, flags and
// what they take. Cobra's own is a command for each shell.
func (a *app) completionCommand() *cobra.Command {
	bare := false
	writers := map[string]func(root *cobra.Command) error{
		"bash": func(root *cobra.Command) error { return root.GenBashCompletionV2(a.out, !bare) },
		"fish": func(root *cobra.Command) error { return root.GenFishCompletion(a.out, !bare) },
		"powershell": func(root *cobra.Command) error {
			if bare {
				return root.GenPowerShellCompletion(a.out)
			}
			return root.GenPowerShellCompletionWithDesc(a.out)
		},
		"zsh": func(root *cobra.Command) error {
			if bare {
				return root.GenZshCompletionNoDesc(a.out)
			}
			return root.GenZshCompletion(a.out)
		},
	}
	shells := slices.Sorted(maps.Keys(writers))
	cmd := &cobra.Command{
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
	cmd.Flags().BoolVar(&bare, "no-descriptions", false, "without the words that say what each is for")
	return cmd
}
