// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"

	"github.com/spf13/cobra"

	"fillmark/cmd/fillmark/acts"
)

// docsCommand is for those who package Fillmark, and so not in the help.
func (a *app) docsCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "docs", Short: "References, for packages", Hidden: true, Args: cobra.NoArgs}
	cmd.AddCommand(a.manCommands()...)
	cmd.AddCommand(&cobra.Command{
		Use: "acts", Short: "Print the reference of the acts, as doc/acts.md has it",
		Example: `  fillmark docs acts`,
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprint(a.out, acts.Reference())
			return err
		},
	})
	return cmd
}
