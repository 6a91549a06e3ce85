// Copyright 2026 The Fillmark Authors
// SPDX-License-Identifier: Apache-2.0

package cli

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

// docsCommand is for those who package Fillmark, and so not in the help.
func (a *app) docsCommand() *cobra.Command {
	cmd := &cobra.Command{Use: "docs", Short: "Manual pages, for packages", Hidden: true, Args: cobra.NoArgs}
	cmd.AddCommand(&cobra.Command{
		Use: "man DIR", Short: "Write the manual pages into a folder", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return fmt.Errorf("folder of the manual pages: %w", err)
			}
			root := cmd.Root()
			root.DisableAutoGenTag = true // the pages tell the same on every day
			return doc.GenManTree(root, &doc.GenManHeader{Title: "FILLMARK", Section: "1", Source: "Fillmark", Manual: "Fillmark"}, args[0])
		},
	})
	return cmd
}
